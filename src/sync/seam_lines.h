// A track's clock as the straight line that it is near one place.
#pragma once

#include <optional>

#include "kilter/sync/clock_fit.h"
#include "kilter/sync/seam_place.h"
#include "track_state.h"

namespace kilter::sync {

/// One level of a clock near a second of the mix.
LocalLine local_line(const ClockCurve& curve, int level, double mix_s);

/// The line of a track that does not step between two seconds of the mix.
std::optional<LocalLine> line_through(const TrackState& state, double from_s, double to_s);

}  // namespace kilter::sync
