// The first map: where a track roughly lies, from when sound sets in.
#pragma once

#include <atomic>
#include <vector>

#include "kilter/signal/onset_features.h"

namespace kilter::sync {

/// A chunk of the track that fits the reference at one lag.
struct Vote {
  double track_s{0.0};  ///< middle of the chunk
  double lag_s{0.0};    ///< reference time minus track time
  double sigma{0.0};    ///< correlation over its RMS at all lags
};

struct FirstMap {
  bool found{false};
  double lag_s{0.0};        ///< reference time minus track time at track time 0
  double drift_ppm{0.0};    ///< of the track's clock
  double match_sigma{0.0};  ///< the line's support: root of the sum of its squared chunk votes
  double rival_sigma{0.0};  ///< the same for the best line at another lag
  double best_vote{0.0};    ///< the strongest chunk on the line
  std::vector<Vote> votes;  ///< all that were cast, also off the line

  double to_reference_s(double track_s) const {
    return track_s + lag_s - drift_ppm * 1e-6 * track_s;
  }
};

/// Correlates chunks of 60 s (hop 30 s) of the track with the whole reference and lets them vote in
/// (track time, lag); the best line within +-300 ppm wins. Good to about 5 ms.
/// Cost: chunks times reference length; at most 48 chunks vote, the liveliest and an even choice.
/// Memory: 40 MB while it runs. Not found when `stop`, where given, was set meanwhile.
FirstMap first_map(const OnsetFeatures& reference, const OnsetFeatures& track,
                   const std::atomic<bool>* stop = nullptr);

/// Lag and drift anew for a track that steps, whose best line may have taken a step for a drift: of
/// all drifts the one at which votes stand on the fewest and straightest levels. The lag is the
/// best supported level's. Good to some 30 ppm from five minutes between steps. Cost: the square of
/// the votes, 121 times.
FirstMap with_drift_between_steps(FirstMap map);

}  // namespace kilter::sync
