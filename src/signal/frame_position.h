// Places between a track's frames.
#pragma once

#include <cstdint>

namespace kilter {

/// Whole frames, and 2^-64 of a frame. Steps add up without rounding.
struct FramePosition {
  std::int64_t frame{0};
  std::uint64_t fraction{0};
};

/// `at` after `count` steps; `count` below 2^32.
inline FramePosition after_steps(const FramePosition& at, const FramePosition& step,
                                 std::int64_t count) {
  const auto n = static_cast<std::uint64_t>(count);
  const std::uint64_t low = (step.fraction & 0xFFFFFFFFU) * n;
  const std::uint64_t high = (step.fraction >> 32U) * n + (low >> 32U);
  const std::uint64_t fraction = at.fraction + step.fraction * n;
  const std::int64_t carry = fraction < at.fraction ? 1 : 0;
  return {at.frame + step.frame * count + static_cast<std::int64_t>(high >> 32U) + carry, fraction};
}

/// after_steps(at, step, 1).
inline FramePosition after_one_step(const FramePosition& at, const FramePosition& step) {
  const std::uint64_t fraction = at.fraction + step.fraction;
  return {at.frame + step.frame + (fraction < at.fraction ? 1 : 0), fraction};
}

}  // namespace kilter
