#include "track_window.h"

#include <algorithm>
#include <cassert>
#include <utility>

namespace kilter {
namespace {

// Before any place that a map can name.
constexpr std::int64_t kLongBefore = -(std::int64_t{1} << 62);
// Frames that are only passed over are read so many at a time.
constexpr std::int64_t kPassedAtOnce = 16384;

}  // namespace

TrackWindow::TrackWindow(Pull pull, std::int64_t readable_beyond)
    : pull_(std::move(pull)), readable_beyond_(readable_beyond), first_(kLongBefore) {}

Result<void> TrackWindow::hold(std::int64_t first, std::int64_t end_wanted) {
  let_go_before(first);
  if (end() < 0 && end() < first) first_ = std::min<std::int64_t>(first, 0);  // all silence so far
  while (!ended_ && end() < first) {
    const std::int64_t passed = std::min(first - end(), kPassedAtOnce);
    if (auto appended = append_from_track(passed); !appended) return appended.error();
    let_go_before(first);
  }
  if (end() < first) first_ = first;
  if (end() < 0) append_silence(std::min<std::int64_t>(end_wanted, 0) - end());
  if (!ended_ && end() < end_wanted)
    if (auto appended = append_from_track(end_wanted - end()); !appended) return appended.error();
  append_silence(end_wanted - end());
  return {};
}

const float* TrackWindow::at(std::int64_t frame) const {
  assert(frame >= first_ && frame <= end());
  return frames_.data() + (frame - first_);
}

void TrackWindow::let_go_before(std::int64_t frame) {
  const std::int64_t gone = std::clamp<std::int64_t>(frame - first_, 0, held_);
  std::copy(frames_.begin() + gone, frames_.begin() + held_, frames_.begin());
  first_ += gone;
  held_ -= gone;
}

float* TrackWindow::room_for(std::int64_t count) {
  const auto needed = static_cast<std::size_t>(held_ + count + readable_beyond_);
  if (frames_.size() < needed) frames_.resize(needed);
  return frames_.data() + held_;
}

void TrackWindow::append_silence(std::int64_t count) {
  if (count <= 0) return;
  std::fill_n(room_for(count), count, 0.0F);
  held_ += count;
}

Result<void> TrackWindow::append_from_track(std::int64_t count) {
  const auto got = pull_({room_for(count), static_cast<std::size_t>(count)});
  if (!got) return got.error();
  held_ += *got;
  if (*got < count) {
    ended_ = true;
    track_end_ = end();
  }
  return {};
}

}  // namespace kilter
