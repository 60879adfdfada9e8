// What the first map compares: when, in which band, does sound set in.
#pragma once

#include <array>
#include <atomic>
#include <cstdint>
#include <vector>

#include "kilter/base/byte_store.h"
#include "kilter/base/result.h"
#include "kilter/signal/analysis_signal.h"

namespace kilter {

inline constexpr int kFeatureRateHz = 100;
inline constexpr int kFeatureSteps = 31;  ///< of a stored feature to one standard deviation
inline constexpr int kFeatureBands = 8;   ///< 100 Hz to 4 kHz, equal steps on the mel scale

/// Rises of the log energy per band, each band with zero mean and unit variance over the track and
/// bounded at 4, so that a click weighs no more than a syllable; in steps of 1 / kFeatureSteps.
/// Insensitive to level, equaliser and codec. Memory: 0.8 kB per second.
struct OnsetFeatures {
  std::array<std::vector<std::int8_t>, kFeatureBands> bands;
  std::int64_t frames() const { return std::ssize(bands[0]); }
};

/// Memory to find features in, kept for the next signal: fresh pages of it take time. For one
/// thread at a time.
struct OnsetRoom {
  std::vector<float> values;
};

/// Frame i covers 25 ms round second i / kFeatureRateHz. Fails where the signal cannot be read, and
/// with `interrupted` soon after `stop`, where given, is set. While at work 3.2 kB per second,
/// which a store holds where there is one and the signal is long; then it fails as that does, too.
/// Without `room` that memory goes with the call.
Result<OnsetFeatures> onset_features(const AnalysisSignal& signal,
                                     const std::atomic<bool>* stop = nullptr,
                                     const OpenByteStore& open_store = {},
                                     OnsetRoom* room = nullptr);

}  // namespace kilter
