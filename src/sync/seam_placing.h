// Where seams lie.
#pragma once

#include <vector>

#include "kilter/base/result.h"
#include "kilter/sync/align.h"
#include "seams.h"
#include "track_state.h"

namespace kilter::sync {

/// Finds each seam's exact place, and what that says of its cause. Fails where a signal cannot be
/// read.
Result<void> place_seams(const MixInput& mix, const std::vector<TrackInput>& tracks,
                         const std::vector<TrackState>& states, int threads,
                         std::vector<Seam>& seams);

/// Places the seams anew once all clocks are better known, with the steps that they show by then,
/// and moves the tracks' cuts and the mix's spans there.
Result<void> place_seams_again(const MixInput& mix, const std::vector<TrackInput>& tracks,
                               int threads, std::vector<Span>& mix_spans, std::vector<Seam>& seams,
                               std::vector<TrackState>& states);

}  // namespace kilter::sync
