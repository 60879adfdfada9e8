#include "normal_equations.h"

#include <cmath>

namespace kilter::sync {

void NormalEquations::add(const std::vector<double>& row, double value, double weight) {
  for (std::size_t i = 0; i < n_; ++i) {
    if (row[i] == 0.0) continue;
    const double scaled = weight * row[i];
    b_[i] += scaled * value;
    for (std::size_t j = 0; j <= i; ++j) a_[i * n_ + j] += scaled * row[j];
  }
}

bool NormalEquations::solve() {
  solution_.clear();
  factor_ = a_;
  for (std::size_t j = 0; j < n_; ++j) {
    double diagonal = factor_[j * n_ + j];
    for (std::size_t k = 0; k < j; ++k) diagonal -= factor_[j * n_ + k] * factor_[j * n_ + k];
    if (!(diagonal > 1e-13 * a_[j * n_ + j])) return false;
    factor_[j * n_ + j] = std::sqrt(diagonal);
    for (std::size_t i = j + 1; i < n_; ++i) {
      double sum = factor_[i * n_ + j];
      for (std::size_t k = 0; k < j; ++k) sum -= factor_[i * n_ + k] * factor_[j * n_ + k];
      factor_[i * n_ + j] = sum / factor_[j * n_ + j];
    }
  }
  solution_ = solved_for(b_);
  return true;
}

std::vector<double> NormalEquations::inverse() const {
  std::vector<double> result(n_ * n_);
  std::vector<double> unit(n_, 0.0);
  for (std::size_t column = 0; column < n_; ++column) {
    unit[column] = 1.0;
    const std::vector<double> x = solved_for(unit);
    unit[column] = 0.0;
    for (std::size_t row = 0; row < n_; ++row) result[row * n_ + column] = x[row];
  }
  return result;
}

std::vector<double> NormalEquations::solved_for(std::vector<double> x) const {
  for (std::size_t i = 0; i < n_; ++i) {
    for (std::size_t k = 0; k < i; ++k) x[i] -= factor_[i * n_ + k] * x[k];
    x[i] /= factor_[i * n_ + i];
  }
  for (std::size_t i = n_; i-- > 0;) {
    for (std::size_t k = i + 1; k < n_; ++k) x[i] -= factor_[k * n_ + i] * x[k];
    x[i] /= factor_[i * n_ + i];
  }
  return x;
}

}  // namespace kilter::sync
