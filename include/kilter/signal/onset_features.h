// What the first map compares: when, in which band, does sound set in.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/signal/analysis_signal.h"

namespace kilter {

inline constexpr int kFeatureRateHz = 100;
inline constexpr int kFeatureBands = 8;  ///< 100 Hz to 4 kHz, equal steps on the mel scale

/// Rises of the log energy per band, each band with zero mean and unit variance over the track and
/// bounded, so that a click weighs no more than a syllable. Insensitive to level, equaliser, codec.
/// Memory: 3.2 kB per second.
struct OnsetFeatures {
  std::array<std::vector<float>, kFeatureBands> bands;
  std::int64_t frames() const { return std::ssize(bands[0]); }
};

/// Frame i covers 25 ms round second i / kFeatureRateHz. Fails only where the signal cannot be
/// read.
Result<OnsetFeatures> onset_features(const AnalysisSignal& signal);

}  // namespace kilter
