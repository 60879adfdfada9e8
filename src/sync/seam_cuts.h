// Seams as cuts: the pieces that they leave of each track, and the lines of those.
#pragma once

#include <cstddef>
#include <vector>

#include "seams.h"
#include "track_state.h"

namespace kilter::sync {

/// Pieces and levels for all tracks of one recorder, from their own fits; curve and pieces of each
/// are on the timeline afterwards, the curve the same for all.
void cut_at_seams(const std::vector<Seam>& seams, const std::vector<std::size_t>& members,
                  const std::vector<Span>& mix_spans, std::vector<TrackState>& states);

}  // namespace kilter::sync
