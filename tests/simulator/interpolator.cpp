#include "interpolator.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "kilter/signal/wide_loops.h"

namespace kilter::simulator {
namespace {

constexpr int kRows = 2048;
constexpr int kLanes = 8;
constexpr double kBeta = 13.6;        // side lobes 132 dB down
constexpr double kHalfLength = 44.0;  // transition from 0.9 to 1.1 of the cutoff, at that beta

double bessel_i0(double x) {
  double term = 1.0;
  double sum = 1.0;
  for (int k = 1; term > 1e-18 * sum; ++k) {
    term *= (0.5 * x / k) * (0.5 * x / k);
    sum += term;
  }
  return sum;
}

double kernel(double t, double cutoff, double half) {
  const double edge = 1.0 - (t / half) * (t / half);
  if (edge <= 0.0) return 0.0;
  const double x = std::numbers::pi * cutoff * t;
  const double sinc = std::abs(x) < 1e-9 ? 1.0 : std::sin(x) / x;
  return cutoff * sinc * bessel_i0(kBeta * std::sqrt(edge)) / bessel_i0(kBeta);
}

/// The sum over a row that lies between two of the table's. Lanes are summed apart and in a fixed
/// order: the bits are the same whatever the width of the registers.
[[gnu::always_inline]] inline float between_rows(const float* x, const float* row,
                                                 const float* next, int taps, float between) {
  Float8 sums{}, here{}, there{}, sound{};
  for (int i = 0; i < taps; i += kLanes) {
    load(row + i, here);
    load(next + i, there);
    load(x + i, sound);
    sums += sound * (here + between * (there - here));
  }
  return ((sums[0] + sums[4]) + (sums[1] + sums[5])) + ((sums[2] + sums[6]) + (sums[3] + sums[7]));
}

}  // namespace

Interpolator::Interpolator(double from_hz, double to_hz) {
  const double cutoff = std::clamp(to_hz / from_hz, 0.125, 1.0);
  constexpr int kStep = kLanes / 2;  // two halves fill whole lanes
  half_ = static_cast<int>(std::ceil(kHalfLength / cutoff / kStep)) * kStep;
  taps_ = 2 * half_;
  rows_.reserve(static_cast<std::size_t>(kRows + 1) * static_cast<std::size_t>(taps_));
  for (int r = 0; r <= kRows; ++r) {
    const double fraction = static_cast<double>(r) / kRows;
    for (int i = 0; i < taps_; ++i)
      rows_.push_back(static_cast<float>(kernel(fraction + half_ - 1 - i, cutoff, half_)));
  }
}

KILTER_WIDE float Interpolator::at(std::span<const float> input, double position) const {
  const double whole = std::floor(position);
  const double in_rows = (position - whole) * kRows;
  const int r = std::min(static_cast<int>(in_rows), kRows - 1);
  const auto between = static_cast<float>(in_rows - r);
  const float* row = rows_.data() + static_cast<std::ptrdiff_t>(r) * taps_;
  const float* next = row + taps_;
  const std::int64_t first = static_cast<std::int64_t>(whole) - half_ + 1;
  const auto length = static_cast<std::int64_t>(input.size());

  if (first >= 0 && first + taps_ <= length)
    return between_rows(input.data() + first, row, next, taps_, between);
  std::vector<float> padded(static_cast<std::size_t>(taps_), 0.0F);
  for (std::int64_t i = std::max<std::int64_t>(0, -first);
       i < std::min<std::int64_t>(taps_, length - first); ++i)
    padded[static_cast<std::size_t>(i)] = input[static_cast<std::size_t>(first + i)];
  return between_rows(padded.data(), row, next, taps_, between);
}

}  // namespace kilter::simulator
