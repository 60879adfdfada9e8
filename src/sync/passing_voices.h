// Neighbours who are heard in a microphone while it loses something.
#pragma once

#include <vector>

#include "track_state.h"

namespace kilter::sync {

/// Takes out the level of a microphone that is a neighbour's voice, heard for some seconds between
/// a loss and the next word of its own: a step as small as sound's way across the room beside a
/// larger one is no second loss. Recorders must be known; `remote` has one entry per track.
void leave_out_passing_voices(const std::vector<bool>& remote, std::vector<TrackState>& states);

}  // namespace kilter::sync
