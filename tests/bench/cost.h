// Processor time and wall time of a stretch of work.
#pragma once

#include <sys/resource.h>

#include <algorithm>
#include <chrono>
#include <vector>

namespace kilter::bench {

struct Cost {
  double cpu_s{0.0};
  double wall_s{0.0};
  Cost& operator+=(const Cost& other) {
    cpu_s += other.cpu_s;
    wall_s += other.wall_s;
    return *this;
  }
};

inline double cpu_seconds(const rusage& usage) {
  const auto seconds = [](const timeval& t) {
    return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
  };
  return seconds(usage.ru_utime) + seconds(usage.ru_stime);
}

/// Processor time of this process and wall time, since some start.
inline Cost now() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  const std::chrono::duration<double> wall = std::chrono::steady_clock::now().time_since_epoch();
  return {cpu_seconds(usage), wall.count()};
}

inline Cost since(const Cost& start) {
  const Cost end = now();
  return {end.cpu_s - start.cpu_s, end.wall_s - start.wall_s};
}

template <typename Work>
Cost cost_of(const Work& work) {
  const Cost start = now();
  work();
  return since(start);
}

/// Of one value at least; of an even number the lower of the two in the middle.
inline double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>((values.size() - 1) / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// Processor time and wall time each for itself.
inline Cost median(const std::vector<Cost>& costs) {
  std::vector<double> cpu_s;
  std::vector<double> wall_s;
  for (const Cost& cost : costs) {
    cpu_s.push_back(cost.cpu_s);
    wall_s.push_back(cost.wall_s);
  }
  return {median(std::move(cpu_s)), median(std::move(wall_s))};
}

}  // namespace kilter::bench
