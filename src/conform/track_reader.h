#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "shared_files.h"

namespace kilter::conform {

/// The one channel of a track, its parts joined without a gap. Keeps a reference to the track.
class TrackReader {
 public:
  TrackReader(const LineupTrack& track, SharedFiles& files);

  /// The next frames: fewer than asked only at the track's end. Fails (unreadable) where a part
  /// cannot be read or is not the file that the lineup speaks of.
  Result<std::int64_t> pull(std::span<float> out);

  /// Whether samples of what was pulled so far lie between the steps of whole numbers of so many
  /// bits, or may do: of longer numbers, floating-point ones and lossy coders.
  bool is_finer_than(int bits) const;

 private:
  Result<void> open_part();
  Result<std::int64_t> pull_from_part(std::span<float> out);

  const LineupTrack& track_;
  std::vector<std::unique_ptr<ChannelReader>> parts_;  // gone once they are read
  std::size_t part_{0};
  bool is_open_{false};
  std::int64_t left_in_part_{0};
  int most_bits_{0};
  bool any_between_steps_{false};
};

}  // namespace kilter::conform
