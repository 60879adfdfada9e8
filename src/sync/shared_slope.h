// The slope that offsets share where they lie on several lines.
#pragma once

#include <optional>
#include <vector>

#include "kilter/sync/line_fit.h"

namespace kilter::sync {

/// The slope of the lines, each anywhere, on which the offsets lie: a microphone in a room hears
/// now its own voice, now a neighbour's some milliseconds away, but all on one clock. Lines of
/// different stretches of the track (one vector each, in order of time) have nothing in common but
/// the slope. Nothing where no slope within `max_slope` (seconds per second) stands out, as for too
/// few windows. Good to some ppm. Cost: a few hundred times the pairs of windows near one another.
std::optional<double> shared_slope(const std::vector<std::vector<Observation>>& stretches,
                                   double max_slope);

}  // namespace kilter::sync
