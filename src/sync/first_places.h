// Where tracks lie by when their sound sets in, and which of them are no microphones.
#pragma once

#include "aligning.h"

namespace kilter::sync {

/// A first place of every track, by its onsets or its few words; wrong headers are put right.
Result<void> find_first_places(Aligning& session);

/// Copies and mixes explain what others said: they are measured by themselves.
Result<void> set_copies_apart(Aligning& session);

/// With the drift better known, lanes may part that it had run together: a small step looks like a
/// drift to the first map. And where it was so wrong that a lane ran off itself, all are new.
Result<void> find_lanes_again(Aligning& session);

}  // namespace kilter::sync
