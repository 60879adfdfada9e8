// Where a network stream held a guest back in the mix for a while.
#pragma once

#include <vector>

#include "kilter/base/result.h"
#include "kilter/sync/window_meter.h"

namespace kilter::sync {

struct MixExcursion {
  double from_s{0.0};  ///< mix seconds, good to half a second
  double to_s{0.0};
  double offset_s{0.0};  ///< how much later than its map says the track is heard there at most
  bool in_place_before{false};  ///< as far as was looked
  bool in_place_after{false};
};

/// Looks round the given mix seconds, `reach_s` to either side, for stretches in which the track is
/// heard 1.5 to 75 ms away from where its map puts it. Windows of a second, every half second, of
/// this track alone: for guests, whom no neighbour's microphone hears. In order of time.
/// Cost: 12 transforms of 4096 per second looked at. Fails where a signal cannot be read.
Result<std::vector<MixExcursion>> find_excursions(const AnalysisSignal& mix,
                                                  const MappedTrack& track,
                                                  const std::vector<double>& middles_s,
                                                  double reach_s);

}  // namespace kilter::sync
