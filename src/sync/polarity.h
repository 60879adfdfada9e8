// Which tracks are upside down against the mix.
#pragma once

#include <vector>

#include "aligning.h"

namespace kilter::sync {

/// One per track. The windows of all tracks together only ask the question: where two tracks are
/// nearly one sound (a guest's file that is the mix, loud leaks) their filters there are large,
/// opposite and of any sign. What answers it is the track by itself, in windows that hold it where
/// its map says and hardly anybody else. It is upside down where nearly all of those say so; where
/// they are too few, where nearly all windows of all tracks do. Nothing is read of tracks that
/// nothing speaks against. Fails where a signal cannot be read, and with `interrupted`.
Result<std::vector<bool>> inverted_tracks(const Aligning& session);

}  // namespace kilter::sync
