// Which tracks share a recorder, and one clock for all of its tracks.
#pragma once

#include <cstddef>
#include <vector>

#include "track_state.h"

namespace kilter::sync {

/// Numbers the recorders of the placed tracks, from 0 without gaps in the order of the tracks.
/// Tracks that start together and run alike come from one recorder; a microphone whose windows
/// follow its neighbours' voices joins the sibling that knows its place better.
void find_recorders(std::vector<TrackState>& states);

/// The placed tracks of each recorder.
std::vector<std::vector<std::size_t>> members_of_recorders(const std::vector<TrackState>& states);

/// The member whose windows say most.
std::size_t best_known(const std::vector<TrackState>& states,
                       const std::vector<std::size_t>& members);

/// Whether no other microphone is on the track's recorder: nothing else tells how its clock runs.
bool is_alone_on_its_recorder(const std::vector<TrackState>& states, std::size_t track);

/// Files of one length to the frame.
bool same_length(const TrackState& a, const TrackState& b);

/// Of one length to the frame and of one drift, as far as that can be told.
bool may_share_a_clock(const TrackState& a, const TrackState& b);

/// Files of one length to the frame that begin together, as tracks of one recorder do.
bool look_like_siblings(const TrackState& a, const TrackState& b);

}  // namespace kilter::sync
