// Files whose size is not true: their recorder lost power and left it 0, or they were cut.
#pragma once

#include <sndfile.h>

#include <cstdint>
#include <optional>

namespace kilter::media {

/// Where the size of the sound stands in a WAV file that says 0 and yet goes on with what are no
/// further chunks; nothing for any other file. The descriptor may stand anywhere and does so after.
std::optional<std::int64_t> unwritten_size_at(int descriptor);

/// Bytes of sound that a WAV, RF64, BW64, W64, AIFF or AU file promises, and those that are there,
/// where it promises more; nothing for others, nor for a size that only stands for "unknown", as a
/// program writes into a pipe.
struct CutSound {
  std::int64_t promised{0};
  std::int64_t there{0};
};
std::optional<CutSound> cut_sound(int descriptor);

/// The same file as if that size said "to the end". Closes the descriptor.
class UnclosedWav {
 public:
  UnclosedWav(int descriptor, std::int64_t size_at) : descriptor_(descriptor), size_at_(size_at) {}
  UnclosedWav(const UnclosedWav&) = delete;
  UnclosedWav& operator=(const UnclosedWav&) = delete;
  ~UnclosedWav();

  /// For sf_open_virtual, with this object as its user data.
  static SF_VIRTUAL_IO callbacks();

 private:
  static sf_count_t length(void* self);
  static sf_count_t seek(sf_count_t offset, int whence, void* self);
  static sf_count_t read(void* out, sf_count_t wanted, void* self);
  static sf_count_t tell(void* self);

  int descriptor_;
  std::int64_t size_at_;
  std::int64_t position_{0};
};

}  // namespace kilter::media
