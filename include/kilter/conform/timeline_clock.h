// Whose clock the timeline runs on.
#pragma once

#include <string>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"

namespace kilter::conform {

/// The same lineup on another clock: "mix", or that of the recorder of a placed track, named as in
/// the lineup. Every place moves by one and the same bend, so that what sounded together still
/// does; the timeline's rate becomes the one at which that track was recorded.
///
/// The tracks of that recorder then run at the timeline's rate, on whole frames: stems of them are
/// copies. Such rounding moves them by half a frame at most, except where a place was told for one
/// of them alone: then by its stated uncertainty at most. A track that would have to move further
/// is bent like all others. Timeline second 0 stays within half a frame of where it was. The
/// timeline runs on at the clock's mean rate where the named track lost something, and beyond its
/// ends.
///
/// Times that findings give as numbers follow. Those in their sentences stay the old timeline's,
/// from which they differ by the drift.
///
/// Fails (bad_command) where no track has this name, or it is not placed. Cost: spans times the
/// clock's spans, at most.
Result<Lineup> on_clock_of(const Lineup& lineup, const std::string& clock);

}  // namespace kilter::conform
