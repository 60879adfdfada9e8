// What the mix says, moment by moment, for the line before a seam and for the line after it.
#pragma once

#include <cstdint>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/signal/analysis_signal.h"
#include "kilter/sync/seam_place.h"

namespace kilter::sync {

inline constexpr int kSeamBin = kAnalysisRateHz / 200;  // 5 ms
inline constexpr double kSeamBin_s = static_cast<double>(kSeamBin) / kAnalysisRateHz;

/// Frames of a signal, brightened by a first difference so that the voice's pitch does not decide
/// alone.
Result<std::vector<float>> read_bright(const AnalysisSignal& signal, std::int64_t first,
                                       std::int64_t count);

/// The track where `line` puts it under `count` frames of the mix from `first`, as bright.
Result<std::vector<float>> read_through(const AnalysisSignal& signal, const LocalLine& line,
                                        std::int64_t first, std::int64_t count);

/// Per bin of the mix's grid, powers of the brightened sound.
struct SeamEvidence {
  std::vector<double>
      before;                 ///< how much less of the mix is left once the line before is believed
  std::vector<double> after;  ///< and the line after
  std::vector<double> power_before;  ///< what the witnesses sound like in the mix on either line
  std::vector<double> power_after;
  std::vector<double> rest;  ///< of the mix, which nobody explains on either line
};

/// The mix is explained by all witnesses and the tracks that lie steady there at once, each with
/// one gain: a microphone that hears its neighbours would speak for them else. `first` is a frame
/// of the mix. Cost: a few operations per frame and pair of tracks; memory for some seconds of
/// them.
Result<SeamEvidence> seam_evidence(const AnalysisSignal& mix,
                                   const std::vector<SeamWitness>& witnesses,
                                   const std::vector<SteadyTrack>& steady, std::int64_t first,
                                   std::size_t bins);

}  // namespace kilter::sync
