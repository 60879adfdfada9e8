// Least squares by their normal equations.
#pragma once

#include <cstddef>
#include <utility>
#include <vector>

namespace kilter::sync {

/// A symmetric positive definite system of some tens of unknowns, solved by Cholesky's factors.
class NormalEquations {
 public:
  explicit NormalEquations(std::size_t unknowns)
      : n_(unknowns), a_(unknowns * unknowns, 0.0), b_(unknowns, 0.0) {}
  /// `a` row-major, of which the lower triangle counts; as many rows as `b` has values.
  NormalEquations(std::vector<double> a, std::vector<double> b)
      : n_(b.size()), a_(std::move(a)), b_(std::move(b)) {}

  /// One equation: what the unknowns, times `row`, should come to.
  void add(const std::vector<double>& row, double value, double weight);

  /// False where the equations leave an unknown open; the solution is then empty.
  bool solve();
  const std::vector<double>& solution() const { return solution_; }
  /// Row-major; once solved.
  std::vector<double> inverse() const;

 private:
  std::vector<double> solved_for(std::vector<double> x) const;

  std::size_t n_;
  std::vector<double> a_;  // lower triangle
  std::vector<double> b_;
  std::vector<double> factor_;
  std::vector<double> solution_;
};

}  // namespace kilter::sync
