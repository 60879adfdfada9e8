// What the windowed-sinc filters share.
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>
#include <vector>

#include "kilter/base/wide_loops.h"
#include "kilter/signal/fft.h"

namespace kilter {

inline double sinc(double x) {
  if (std::abs(x) < 1e-12) return 1.0;
  const double angle = std::numbers::pi * x;
  return std::sin(angle) / angle;
}

[[gnu::always_inline]] inline float sum_of_lanes(const Float8& sums) {
  return ((sums[0] + sums[4]) + (sums[2] + sums[6])) + ((sums[1] + sums[5]) + (sums[3] + sums[7]));
}

/// `count` a multiple of 8. Eight partial sums keep the order of additions fixed whatever the
/// vector width.
[[gnu::always_inline]] inline float dot(const float* a, const float* b, std::int64_t count) {
  Float8 sums{}, x{}, y{};
  for (std::int64_t i = 0; i < count; i += 8) {
    load(a + i, x);
    load(b + i, y);
    sums += x * y;
  }
  return sum_of_lanes(sums);
}

/// Appends a Kaiser-windowed low-pass of `2 * half` taps, summing to 1, to `rows`. Tap `half - 1`
/// sits on the input frame at or before the output's place, `fraction` of a frame from it.
/// `cutoff` in cycles per input frame.
inline void append_low_pass_row(double fraction, double cutoff, std::int64_t half,
                                double attenuation_db, std::vector<float>& rows) {
  const double beta = kaiser_beta(attenuation_db);
  std::vector<double> filter;
  double sum = 0.0;
  for (std::int64_t tap = 0; tap < 2 * half; ++tap) {
    const double distance = static_cast<double>(tap - (half - 1)) - fraction;
    filter.push_back(2.0 * cutoff * sinc(2.0 * cutoff * distance) *
                     kaiser(distance / static_cast<double>(half), beta));
    sum += filter.back();
  }
  for (const double value : filter) rows.push_back(static_cast<float>(value / sum));
}

}  // namespace kilter
