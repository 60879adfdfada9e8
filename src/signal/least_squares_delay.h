// Filters that give a band-limited sound between its frames, as truly as so few taps can.
#pragma once

#include <cstdint>
#include <vector>

namespace kilter {

/// For any place between two frames, the taps whose error, squared and taken over the band, is the
/// least (T. I. Laakso, V. Valimaki, M. Karjalainen, U. K. Laine, "Splitting the unit delay", IEEE
/// Signal Processing Magazine 13 (1996), section "Least squares"). Sound above the band is left to
/// itself.
class LeastSquaresDelay {
 public:
  /// `taps` even and not above 64; `band` from 0.1 to 0.95 of the half rate.
  LeastSquaresDelay(std::int64_t taps, double band);

  /// All taps for a place `fraction` of a frame after tap taps / 2 - 1.
  std::vector<double> weights_at(double fraction) const;

 private:
  double factor(std::size_t row, std::size_t column) const {
    return factors_[row * taps_ + column];
  }

  std::size_t taps_;
  double band_;
  std::vector<double> factors_;  // Cholesky's, rows below and on the diagonal
};

}  // namespace kilter
