// Samples that are no numbers.
#pragma once

#include <span>

#include "kilter/media/read_notes.h"

namespace kilter::media {

/// Makes NaN and infinite samples 0 and notes them. `at` is where `interleaved` starts.
void silence_non_numbers(std::span<float> interleaved, int channels, Frames at, ReadNotes& notes);

}  // namespace kilter::media
