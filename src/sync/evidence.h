// What is known of a session when its placings are judged.
#pragma once

#include <vector>

#include "kilter/base/time_map.h"
#include "kilter/sync/align.h"
#include "kilter/sync/leaks.h"
#include "seams.h"
#include "track_state.h"

namespace kilter::sync {

inline constexpr double kFarthest_s = 10.0;  ///< what is off by an unknown time is told as so much

/// What the judgement of one track needs to know of the session.
struct Evidence {
  const MixInput& mix;
  const std::vector<TrackInput>& tracks;
  const std::vector<TrackState>& states;
  const std::vector<Span>& mix_spans;
  const std::vector<Seam>& seams;
  const std::vector<Leak>& leaks;
};

}  // namespace kilter::sync
