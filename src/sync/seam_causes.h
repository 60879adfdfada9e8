// Whose fault an event is, by who shows it and who runs through it.
#pragma once

#include <cstddef>
#include <vector>

#include "seams.h"
#include "track_state.h"

namespace kilter::sync {

/// Whether a step is as small as a voice's way across the room or from its loudspeaker, and a
/// sibling of the same length does not show it: the microphone goes over to another's voice.
bool follows_a_neighbour(const Step& step, std::size_t track,
                         const std::vector<TrackState>& states);

/// Of a seam that is its first track's alone.
SeamCause cause_of_one(const Seam& seam, const std::vector<bool>& remote);

/// Adds to `out` what one of `events` is: one seam, or one for each of its tracks, or nothing where
/// a microphone goes over to a neighbour's voice. `remote`: one per track, as in `gather_seams`.
void judge_event(Seam seam, const std::vector<Seam>& events, const std::vector<TrackState>& states,
                 const std::vector<bool>& remote, std::vector<Seam>& out);

}  // namespace kilter::sync
