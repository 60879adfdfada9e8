// Which of several places at which a track is heard is its own.
#pragma once

#include "aligning.h"

namespace kilter::sync {

/// Where a track is heard at two lags at once, one is another's voice that leaks into it. Where
/// several hold each other's voices, all of them are put right together or none.
Result<void> choose_own_lines(Aligning& session);

}  // namespace kilter::sync
