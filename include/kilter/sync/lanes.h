// Where a track was cut: the stretches that lie at different lags, from when sound sets in.
#pragma once

#include <vector>

#include "kilter/signal/onset_features.h"
#include "kilter/sync/first_map.h"

namespace kilter::sync {

/// A stretch of a track that lies at one lag.
struct Lane {
  double lag_s{0.0};   ///< reference time minus track time at track time 0, at the map's drift
  double from_s{0.0};  ///< track seconds
  double to_s{0.0};
  double strongest{0.0};  ///< its best vote, in sigma
};

/// The stretches in order of time, at least one, the first from 0 and the last to `length_s`; what
/// lies between two is in the track alone. Lags closer than about 30 ms are one lane here. Sound
/// that is heard at two lags at the same times (a guest's loudspeaker in the room) makes no second
/// lane. Where a lane ends is good to about a second.
/// Cost: seconds of the reference times lanes.
std::vector<Lane> find_lanes(const OnsetFeatures& reference, const OnsetFeatures& track,
                             const FirstMap& map, double length_s);

/// Further lags, within `reach_s` of a lane, at which much of the track is heard too: its own voice
/// may lie there, and what the lanes follow be another's that leaks into it. Of lanes so close to
/// each other, their own lags are among them. The strongest first, three at most.
/// Cost: lags within reach, a hundred per second, times up to 24 minutes of the reference.
std::vector<double> lags_beside(const OnsetFeatures& reference, const OnsetFeatures& track,
                                const FirstMap& map, const std::vector<Lane>& lanes,
                                double reach_s);

}  // namespace kilter::sync
