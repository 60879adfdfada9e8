// How an audio file begins and ends, and when its recorder says it began: read without the rest.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/base/units.h"

namespace kilter::media {

/// When a recorder says that a file begins, by its own clock: from a `bext` chunk, else from iXML.
struct StartStamp {
  std::int64_t since_midnight_frames{0};
  SampleRate rate;   ///< of those frames
  std::string date;  ///< as written: "2024-03-09"; empty where none is
  double of_day_s() const { return to_seconds({since_midnight_frames}, rate).s; }
};

/// Nothing where the file has no stamp, says midnight exactly (as programs do that know no time),
/// or cannot be read. Safe to call from many threads.
std::optional<StartStamp> read_start_stamp(const std::filesystem::path& file);

/// The same, but fails (unreadable) where the disk does not give what is asked of it.
Result<std::optional<StartStamp>> find_start_stamp(const std::filesystem::path& file);

struct FileEnds {
  int format{0};  ///< equal for files of equal container and encoding
  SampleRate rate;
  int channels{0};
  Frames length;
  std::uintmax_t bytes{0};
  std::optional<StartStamp> stamp;
  std::vector<float> head;  ///< interleaved: its first frames
  std::vector<float> tail;  ///< interleaved: its last frames, no more than there are
};

/// Nothing for what cannot be read at its end without reading it all: compressed sound but FLAC,
/// and whatever does not open. Up to `frames` at either end. Safe to call from many threads.
std::optional<FileEnds> read_file_ends(const std::filesystem::path& file, Frames frames);

}  // namespace kilter::media
