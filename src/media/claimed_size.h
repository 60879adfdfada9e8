// Files whose size is not true: their recorder lost power and left it 0, or they were cut.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "kilter/base/file_input.h"

namespace kilter::media {

/// Bytes of a header that are to be read as others; the first `count` of them, none for a header
/// that is read as it stands.
struct HeaderPatch {
  std::int64_t at{0};
  std::array<char, 8> bytes{};
  std::int64_t count{0};
};

/// To the end, for the size of the sound in a WAV file that says 0 and yet goes on with what are no
/// further chunks; no bytes for any other file.
HeaderPatch unwritten_size(FileInput& file);

/// The size itself for a CAF file's -1, which stands for "to the end" and is unknown to libsndfile;
/// no bytes for any other file.
HeaderPatch size_to_the_end(FileInput& file);

/// Bytes of sound that a WAV, RF64, BW64, W64, AIFF, CAF or AU file promises, and those that are
/// there, where it promises more; nothing for others, nor for a size that only stands for
/// "unknown", as a program writes into a pipe.
struct CutSound {
  std::int64_t promised{0};
  std::int64_t there{0};
};
std::optional<CutSound> cut_sound(FileInput& file);

}  // namespace kilter::media
