// Whether the mix moved or a recorder did, where one recorder alone shows it.
#pragma once

#include <vector>

#include "kilter/base/result.h"
#include "kilter/sync/align.h"
#include "seams.h"

namespace kilter::sync {

inline constexpr double kWindowReach_s = 3.5;   // so far off a window's middle its sound may be
inline constexpr double kSyllable_bins = 20.0;  // of loud speech, as SeamPlace tells it

/// On which side of a seam witnesses are to be heard on their line, and on no other.
enum class Side { before, after, both };

/// Whether witnesses are heard on the lines that a step gives them: not only long before or long
/// after the seam, where a step would have to lie for them not to show it. `known`, where given, is
/// the place that others gave the seam: that of the witnesses must agree with it.
Result<bool> bear_out(const MixInput& mix, const std::vector<SeamWitness>& witnesses, double step_s,
                      double from_s, double to_s, Side side, const SeamPlace* known = nullptr);

/// A seam that would be the mix's, though but one recorder shows it: the others' tracks run through
/// most of the gap in which it lies. The mix then moved at one of its ends, where too little is
/// heard of them for a window, if that little stands a step off; else it was not the mix. Changes
/// the seam's cause, or how sure it is and where it lies. Leaves any other seam alone. Fails where
/// a signal cannot be read.
Result<void> hear_the_others(const MixInput& mix, const std::vector<TrackInput>& tracks,
                             const std::vector<TrackState>& states, Seam& seam);

/// Whether a track of another recorder is heard, on its line, in what the mix would have too much
/// of, and there alone: then the mix holds it by right, and it is the seam's own tracks that lack
/// it.
Result<bool> is_filled_by_others(const MixInput& mix, const std::vector<TrackInput>& tracks,
                                 const std::vector<TrackState>& states, const Seam& seam);

}  // namespace kilter::sync
