// The stretch of a track that the resampler is working on.
#pragma once

#include <cstdint>
#include <functional>
#include <span>
#include <vector>

#include "kilter/base/result.h"

namespace kilter {

/// Holds some frames of a track that can only be read from its beginning to its end, with silence
/// before and after it. Reads no further than it is asked to. Memory: the frames held.
class TrackWindow {
 public:
  /// Fills its argument with the next frames and says how many: fewer than asked only at the end.
  using Pull = std::function<Result<std::int64_t>(std::span<float>)>;

  /// So many frames after the held ones may be looked at, whatever stands there.
  TrackWindow(Pull pull, std::int64_t readable_beyond);

  /// Holds the frames from `first` to `end` and lets go of those before `first`, for good. Fails
  /// only as the pull fails.
  Result<void> hold(std::int64_t first, std::int64_t end);
  /// Where a held frame lies; the next ones follow it.
  const float* at(std::int64_t frame) const;
  /// Whether the track has been read to an end at this frame or before.
  bool ended_by(std::int64_t frame) const { return ended_ && frame >= track_end_; }

 private:
  std::int64_t end() const { return first_ + held_; }
  void let_go_before(std::int64_t frame);
  float* room_for(std::int64_t count);
  void append_silence(std::int64_t count);
  Result<void> append_from_track(std::int64_t count);

  Pull pull_;
  std::int64_t readable_beyond_;
  std::vector<float> frames_;  // held_ of them, then what may be looked at
  std::int64_t first_;
  std::int64_t held_{0};
  bool ended_{false};
  std::int64_t track_end_{0};  // known once ended_
};

}  // namespace kilter
