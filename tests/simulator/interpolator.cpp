#include "interpolator.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace kilter::simulator {
namespace {

constexpr int kRows = 4096;
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

}  // namespace

Interpolator::Interpolator(double from_hz, double to_hz) {
  const double cutoff = std::clamp(to_hz / from_hz, 0.125, 1.0);
  half_ = static_cast<int>(std::ceil(kHalfLength / cutoff / (kLanes / 2))) * (kLanes / 2);
  taps_ = 2 * half_;
  const auto taps = static_cast<std::size_t>(taps_);
  std::vector<double> row(taps);
  std::vector<double> before;
  rows_.reserve((kRows + 1) * taps);
  steps_.reserve(kRows * taps);
  for (int r = 0; r <= kRows; ++r) {
    const double fraction = static_cast<double>(r) / kRows;
    for (int i = 0; i < taps_; ++i)
      row[static_cast<std::size_t>(i)] = kernel(fraction + half_ - 1 - i, cutoff, half_);
    for (std::size_t i = 0; i < taps; ++i) {
      rows_.push_back(static_cast<float>(row[i]));
      if (r > 0) steps_.push_back(static_cast<float>(row[i] - before[i]));
    }
    before = row;
  }
}

float Interpolator::at(std::span<const float> input, double position) const {
  const double whole = std::floor(position);
  const double in_rows = (position - whole) * kRows;
  const int r = std::min(static_cast<int>(in_rows), kRows - 1);
  const auto between = static_cast<float>(in_rows - r);
  const auto offset = static_cast<std::size_t>(r) * static_cast<std::size_t>(taps_);
  const float* row = rows_.data() + offset;
  const float* step = steps_.data() + offset;
  const std::int64_t first = static_cast<std::int64_t>(whole) - half_ + 1;
  const auto length = static_cast<std::int64_t>(input.size());

  if (first >= 0 && first + taps_ <= length) {
    const float* x = input.data() + first;
    float sums[kLanes] = {};
    for (int i = 0; i < taps_; i += kLanes)
      for (int lane = 0; lane < kLanes; ++lane)
        sums[lane] += x[i + lane] * (row[i + lane] + between * step[i + lane]);
    return ((sums[0] + sums[4]) + (sums[1] + sums[5])) +
           ((sums[2] + sums[6]) + (sums[3] + sums[7]));
  }
  float sum = 0.0F;
  for (int i = 0; i < taps_; ++i) {
    const std::int64_t at = first + i;
    if (at >= 0 && at < length)
      sum += input[static_cast<std::size_t>(at)] * (row[i] + between * step[i]);
  }
  return sum;
}

}  // namespace kilter::simulator
