// Where stretches of time begin and end on the grid of frames: one rule, so that stems, cuts and
// the sound in them agree to the frame.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace kilter {

/// A position nearer than this to a whole frame is meant to lie on it: 20 ps at 48 kHz, above what
/// rounding does to a position within a day.
inline constexpr double kWholeFrame = 1e-6;

/// Keeps a position far beyond any recording where a frame's number can be added to.
inline double bounded_frames(double frames) { return std::clamp(frames, -0x1p60, 0x1p60); }

/// The first whole frame at a position or after it, which is no NaN.
inline std::int64_t first_frame_from(double frames) {
  return static_cast<std::int64_t>(std::ceil(bounded_frames(frames) - kWholeFrame));
}

/// The last whole frame at a position or before it, which is no NaN.
inline std::int64_t last_frame_to(double frames) {
  return static_cast<std::int64_t>(std::floor(bounded_frames(frames) + kWholeFrame));
}

inline bool is_whole_frame(double frames) {
  return std::abs(frames - std::round(frames)) <= kWholeFrame;
}

}  // namespace kilter
