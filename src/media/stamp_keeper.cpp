#include "stamp_keeper.h"

#include <algorithm>
#include <cmath>

namespace kilter::media {
namespace {

// Jitter of some milliseconds averages out, and a clock's drift is followed within seconds.
constexpr double kFollow = 1.0 / 64.0;

}  // namespace

std::int64_t StampKeeper::common_jump(std::span<const Stamped> ahead) const {
  std::int64_t position = position_;
  std::optional<double> least;
  for (const Stamped& piece : ahead) {
    if (piece.stamp) {
      const double off =
          static_cast<double>(*piece.stamp) - static_cast<double>(position) - *reference_;
      if (std::fabs(off) <= static_cast<double>(tolerance_.jump_frames)) return 0;
      if (least && (off > 0.0) != (*least > 0.0)) return 0;
      if (!least || std::fabs(off) < std::fabs(*least)) least = off;
    }
    position += piece.frames;
  }
  return least ? std::llround(*least) : 0;
}

/// Networks lose whole packets: where the stamps are too coarse to tell, that is the nearest truth.
std::int64_t StampKeeper::in_whole_pieces(std::int64_t jump, std::int64_t piece) const {
  if (piece <= 0) return jump;
  const std::int64_t whole = (jump + piece / 2) / piece * piece;
  const double off = std::fabs(static_cast<double>(whole - jump));
  return whole > 0 && off <= 1.5 * tolerance_.tick_frames ? whole : jump;
}

StampAction StampKeeper::next(std::span<const Stamped> ahead) {
  const Stamped& piece = ahead.front();
  StampAction action;
  if (piece.stamp && still_to_leave_ == 0) {
    const auto stamp = static_cast<double>(*piece.stamp);
    if (!reference_) reference_ = stamp - static_cast<double>(position_);
    action.jump = common_jump(ahead);
    if (action.jump > 0) {
      action.put_in = action.jump = in_whole_pieces(action.jump, piece.frames);
    } else if (action.jump < -tolerance_.most_overlap_frames) {
      *reference_ += static_cast<double>(action.jump);
    } else {
      still_to_leave_ = -action.jump;
    }
    position_ += action.put_in;
    if (still_to_leave_ == 0)
      *reference_ += kFollow * std::clamp(stamp - static_cast<double>(position_) - *reference_,
                                          -static_cast<double>(tolerance_.jump_frames),
                                          static_cast<double>(tolerance_.jump_frames));
  }
  action.leave_out = std::min(still_to_leave_, piece.frames);
  still_to_leave_ -= action.leave_out;
  position_ += piece.frames - action.leave_out;
  return action;
}

}  // namespace kilter::media
