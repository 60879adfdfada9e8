// How often something was how loud.
#pragma once

#include <array>
#include <cstdint>

namespace kilter {

/// Counts levels from -160 to 40 dB in steps of 0.1 dB. Memory: 16 kB.
class LevelHistogram {
 public:
  void add(double db);
  std::int64_t count() const { return count_; }
  /// The level below which this share lies (0..1); minus infinity where that is -160 dB or below.
  double percentile_db(double share) const;
  /// Part that lies above a level, 0..1. Of nothing: not a number.
  double share_above(double db) const;

 private:
  std::array<std::int64_t, 2000> bins_{};
  std::int64_t count_{0};
};

}  // namespace kilter
