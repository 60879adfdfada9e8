// Processor time and wall time of a stretch of work.
#pragma once

#include <sys/resource.h>

#include <chrono>

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

/// Processor time of this process and wall time, since some start.
inline Cost now() {
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  const auto seconds = [](const timeval& t) {
    return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
  };
  const std::chrono::duration<double> wall = std::chrono::steady_clock::now().time_since_epoch();
  return {seconds(usage.ru_utime) + seconds(usage.ru_stime), wall.count()};
}

inline Cost since(const Cost& start) {
  const Cost end = now();
  return {end.cpu_s - start.cpu_s, end.wall_s - start.wall_s};
}

}  // namespace kilter::bench
