// Where a track's sound begins and ends on the timeline, and how it is faded there.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "kilter/base/time_map.h"

namespace kilter::conform {

/// Frames of a stem that a fade may shape, next to where sound begins or ends.
struct Edge {
  std::int64_t first{0};  ///< may lie before the stem
  std::int64_t end{0};
  bool rises{false};        ///< sound begins here
  bool only_clicks{false};  ///< faded only where it would click
};

/// The edges of a map's sound in a stem that starts at `from_s`: 5 ms on either side of what was
/// lost, 2 ms at the start and the end where they would click. Spans that follow each other without
/// a gap on the timeline have none between them. In order, apart from each other.
std::vector<Edge> edges_of(const TimeMap& map, double rate_hz, double from_s);

/// Shapes the part of an edge that begins with frame `at`, and tells whether it did. Equal power:
/// a quarter of a sine.
bool fade(const Edge& edge, std::int64_t at, std::span<float> sound);

}  // namespace kilter::conform
