// What the windowed-sinc filters share.
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>

namespace kilter {

inline double sinc(double x) {
  if (std::abs(x) < 1e-12) return 1.0;
  const double angle = std::numbers::pi * x;
  return std::sin(angle) / angle;
}

/// `count` a multiple of 8. Eight partial sums keep the order of additions fixed whatever the
/// vector width.
inline float dot(const float* a, const float* b, std::int64_t count) {
  constexpr int kLanes = 8;
  float sums[kLanes] = {};
  for (std::int64_t i = 0; i < count; i += kLanes)
    for (int lane = 0; lane < kLanes; ++lane) sums[lane] += a[i + lane] * b[i + lane];
  return ((sums[0] + sums[4]) + (sums[2] + sums[6])) + ((sums[1] + sums[5]) + (sums[3] + sums[7]));
}

}  // namespace kilter
