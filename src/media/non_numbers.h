// Samples that are no numbers.
#pragma once

#include <span>

#include "kilter/media/read_notes.h"

namespace kilter::media {

/// Makes samples 0 that are NaN, infinite or beyond all sense (1e5), and notes them. `at` is where
/// `interleaved` starts.
void silence_non_numbers(std::span<float> interleaved, int channels, Frames at, ReadNotes& notes);

}  // namespace kilter::media
