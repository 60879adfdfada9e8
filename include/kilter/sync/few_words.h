// Where a track lies that says too little for the first map.
#pragma once

#include <atomic>

#include "kilter/base/result.h"
#include "kilter/signal/analysis_signal.h"
#include "kilter/sync/first_map.h"

namespace kilter::sync {

/// Looks in the whole of `reference` for the loudest words of a track, three passages of up to two
/// and a half seconds at most. One that is heard in one place beyond doubt, or two that agree on a
/// line within +-300 ppm, make the map; its votes are those passages. Not found for a track in
/// which nothing stands out from its noise, and when `stop`, where given, was set meanwhile. Good
/// to a tenth of a millisecond at the passages; the drift is known from two of them only, else 0.
/// Cost: two transforms of 2^18 for every 13 seconds of the reference and passage. Memory: 9 MB.
/// Fails where a signal cannot be read.
Result<FirstMap> map_of_few_words(const AnalysisSignal& reference, const AnalysisSignal& track,
                                  const std::atomic<bool>* stop = nullptr);

}  // namespace kilter::sync
