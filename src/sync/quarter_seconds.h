// How much a signal says, quarter of a second by quarter.
#pragma once

#include <cstdint>

#include "kilter/signal/analysis_signal.h"

namespace kilter::sync {

inline constexpr std::int64_t kQuarter = kAnalysisRateHz / 4;  // frames
inline constexpr double kQuarter_s = static_cast<double>(kQuarter) / kAnalysisRateHz;

struct QuarterSums {
  double power{0.0};  // of x
  double cross{0.0};
};

/// Over kQuarter frames from x + 1 and y + 1 on, of first differences: so speech stands out from
/// hum, and the voice's pitch does not decide.
QuarterSums quarter_sums(const float* x, const float* y);

}  // namespace kilter::sync
