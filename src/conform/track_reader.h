#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <vector>

#include "kilter/base/audio_source.h"
#include "kilter/base/lineup.h"
#include "kilter/base/result.h"

namespace kilter::conform {

/// The one channel of a track, its parts joined without a gap. Keeps a reference to the track.
class TrackReader {
 public:
  TrackReader(const LineupTrack& track, std::filesystem::path session_folder);

  /// The next frames: fewer than asked only at the track's end. Fails (unreadable) where a part
  /// cannot be read or is not the file that the lineup speaks of.
  Result<std::int64_t> pull(std::span<float> out);

 private:
  Result<void> open_part();
  Result<std::int64_t> pull_from_part(std::span<float> out);

  const LineupTrack& track_;
  std::filesystem::path folder_;
  std::size_t part_{0};
  std::unique_ptr<AudioSource> source_;
  std::int64_t left_in_part_{0};
  std::vector<float> interleaved_;
};

}  // namespace kilter::conform
