// Powers and their levels.
#pragma once

#include <algorithm>
#include <cmath>

namespace kilter {

/// Far below any sound, so that digital silence has a level too.
inline constexpr double kLeastPower = 1e-20;

/// Level of a power, or of the ratio of two, in dB; of less than `least`, the level of that.
inline double power_to_db(double power, double least = kLeastPower) {
  return 10.0 * std::log10(std::max(power, least));
}

inline double db_to_power(double db) { return std::pow(10.0, 0.1 * db); }

}  // namespace kilter
