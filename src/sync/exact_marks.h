// What a fault leaves in a file for good: digital silence, and stretches that stand twice.
#pragma once

#include <optional>

#include "kilter/base/result.h"
#include "kilter/signal/analysis_signal.h"

namespace kilter::sync {

/// A repeat that is shorter is as alike as a voice's own periods, unless it is the very same
/// samples.
inline constexpr double kShortRepeat_s = 0.100;

/// A run of exact zeros.
struct Zeros {
  bool found{false};
  double from_s{0.0};
  double to_s{0.0};
};

/// The longest run in seconds `from_s`..`to_s` of the signal, of those of 5 ms up to `most_s`.
/// Fails where the signal cannot be read.
Result<Zeros> find_zeros(const AnalysisSignal& signal, double from_s, double to_s,
                         double most_s = 1e9);

/// Two stretches in a row: where the first begins, and how much alike they are.
struct Repeat {
  double from_s{0.0};
  double apart_s{0.0};
  double alike{0.0};
};

/// Where a stretch of about `length_s` stands twice in a row, beginning between `from_s` and
/// `to_s`. Nothing where none does. The length may be off by what a step is before the clocks are
/// well known, which is samples, and half a sample spoils the likeness.
/// Fails where the signal cannot be read. Cost: some 30 operations per sample of `from_s`..`to_s`.
Result<std::optional<Repeat>> find_repeat(const AnalysisSignal& signal, double length_s,
                                          double from_s, double to_s);

}  // namespace kilter::sync
