// Which steps of several tracks are one event.
#pragma once

#include <vector>

#include "seams.h"
#include "track_state.h"

namespace kilter::sync {

/// Gathers the steps of all tracks into seams, in order of time. A step that all tracks show is the
/// mix's, one that all of a recorder show the recorder's; the rest are the track's own, or of the
/// network stream that carried a guest into the mix (`remote`, one per track).
std::vector<Seam> gather_seams(const std::vector<TrackState>& states,
                               const std::vector<bool>& remote);

}  // namespace kilter::sync
