#include "least_squares_delay.h"

#include <cassert>
#include <cmath>

#include "sinc.h"

namespace kilter {
namespace {

// As noise in every frame, -140 dB: without any, taps that hardly matter grow without bounds.
constexpr double kNoise = 1e-14;

}  // namespace

LeastSquaresDelay::LeastSquaresDelay(std::int64_t taps, double band)
    : taps_(static_cast<std::size_t>(taps)), band_(band), factors_(taps_ * taps_, 0.0) {
  assert(taps > 0 && taps <= 64 && band >= 0.1 && band <= 0.95);
  for (std::size_t row = 0; row < taps_; ++row)
    for (std::size_t column = 0; column <= row; ++column) {
      double rest = band_ * sinc(band_ * static_cast<double>(row - column));
      if (row == column) rest += kNoise;
      for (std::size_t i = 0; i < column; ++i) rest -= factor(row, i) * factor(column, i);
      factors_[row * taps_ + column] =
          row == column ? std::sqrt(rest) : rest / factor(column, column);
    }
}

std::vector<double> LeastSquaresDelay::weights_at(double fraction) const {
  std::vector<double> weights(taps_);
  const double place = static_cast<double>(taps_ / 2 - 1) + fraction;
  for (std::size_t row = 0; row < taps_; ++row) {
    weights[row] = band_ * sinc(band_ * (static_cast<double>(row) - place));
    for (std::size_t i = 0; i < row; ++i) weights[row] -= factor(row, i) * weights[i];
    weights[row] /= factor(row, row);
  }
  for (std::size_t row = taps_; row-- > 0;) {
    for (std::size_t i = row + 1; i < taps_; ++i) weights[row] -= factor(i, row) * weights[i];
    weights[row] /= factor(row, row);
  }
  return weights;
}

}  // namespace kilter
