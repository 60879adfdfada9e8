// Files whose size is not true: their recorder lost power and left it 0, or they were cut.
#pragma once

#include <cstdint>
#include <optional>

#include "kilter/base/file_input.h"

namespace kilter::media {

/// Where the size of the sound stands in a WAV file that says 0 and yet goes on with what are no
/// further chunks; nothing for any other file.
std::optional<std::int64_t> unwritten_size_at(FileInput& file);

/// Bytes of sound that a WAV, RF64, BW64, W64, AIFF, CAF or AU file promises, and those that are
/// there, where it promises more; nothing for others, nor for a size that only stands for
/// "unknown", as a program writes into a pipe.
struct CutSound {
  std::int64_t promised{0};
  std::int64_t there{0};
};
std::optional<CutSound> cut_sound(FileInput& file);

}  // namespace kilter::media
