// Guests whom the network held back in the mix for a while, by more than a buffer does.
#pragma once

#include <vector>

#include "kilter/base/result.h"
#include "kilter/sync/align.h"
#include "seams.h"
#include "track_state.h"

namespace kilter::sync {

/// Takes two seams in a row of one guest out of `seams` that undo each other, where the track would
/// have too much at one of them that is neither digital silence nor there twice: no recording holds
/// what was not said, so that it is whole, and the stream was late for a while (or early), which
/// `states` keep as `held`. A single such seam, or one where the mix, amid a guest's words, holds
/// nothing of what the track would have lost, is laid to the stream. `remote`: one per track. Fails
/// where a signal cannot be read.
Result<void> set_held_back_aside(const MixInput& mix, const std::vector<TrackInput>& tracks,
                                 const std::vector<bool>& remote, std::vector<Seam>& seams,
                                 std::vector<TrackState>& states);

/// Whether the mix holds a second of the track, so much later than mapped, because it was held
/// back.
bool is_held_back(const TrackState& state, double mix_s, double late_s);

}  // namespace kilter::sync
