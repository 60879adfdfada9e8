// The middle of some values.
#pragma once

#include <algorithm>
#include <cstddef>
#include <utility>
#include <vector>

namespace kilter {

/// The value of that rank, 0 the least. `values` must hold it. Cost: linear.
template <typename T>
T of_rank(std::vector<T> values, std::size_t rank) {
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(rank);
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

/// Of an even number the upper of the two in the middle. Not of none.
template <typename T>
T median(std::vector<T> values) {
  const std::size_t middle = values.size() / 2;
  return of_rank(std::move(values), middle);
}

/// Of an even number the lower of the two in the middle. Not of none.
template <typename T>
T lower_median(std::vector<T> values) {
  const std::size_t middle = (values.size() - 1) / 2;
  return of_rank(std::move(values), middle);
}

}  // namespace kilter
