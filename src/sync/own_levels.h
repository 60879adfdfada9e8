// The steps that a track shows by itself, and streams that are spliced instead of drifting.
#pragma once

#include "aligning.h"

namespace kilter::sync {

/// Every track's own levels, from the fine pass's windows; a stream that goes in stairs is measured
/// once more, and its stairs are laid flat.
Result<void> find_levels(double done_from, double done_to, Aligning& session);

}  // namespace kilter::sync
