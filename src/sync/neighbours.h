// Who sits in one room, and who is heard in whose track.
#pragma once

#include "aligning.h"

namespace kilter::sync {

/// By track, whether nobody else's microphone hears it: a guest, recorded where they sit. A track
/// alone with the mix could be either, and counts as none.
Result<std::vector<bool>> remote_tracks(const Aligning& session);

/// No other track tells whether it stands in a room with neighbours.
bool is_alone(const std::vector<TrackState>& states, std::size_t k);

/// Sets `leaks`: who is heard in whose track.
Result<void> hear_leaks(const std::vector<bool>& remote, Aligning& session);

/// Sets `shares_with`: what a track was placed by may be the voice of a neighbour whose own file
/// found no place.
Result<void> compare_with_unplaced(Aligning& session);

}  // namespace kilter::sync
