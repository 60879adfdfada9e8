// Passes over the windows of a session.
#pragma once

#include "aligning.h"

namespace kilter::sync {

/// One pass over the session: windows of one length, offsets searched so far round the maps.
struct Pass {
  const char* stage;
  double window_s;
  double search_s;
  // Of a long session so many windows, spread evenly over it: one every so often, but not fewer
  // than some and not more than others.
  double every_s;
  int fewest_windows;
  int most_windows;
  bool spares_short;  // leaves out no window of a short stretch
  bool fills_in;      // measures what it left out where a track steps in between
};

// Short windows first: what drift is left in a map smears long ones. The coarse joint pass must
// span the bleed delays by which the pairwise pass may be off; the fine one, its maps right by
// then, looks far round them for parts of a track that lie elsewhere.
inline constexpr int kAll = 1 << 30;
inline constexpr Pass kPairwise{"first offsets", 2.5, 0.050, 22.0, 120, 320, false, false};
inline constexpr Pass kCoarse{"joint, coarse", 4.0, 0.020, 22.0, 120, 320, false, false};
inline constexpr Pass kFine{"joint, fine", 6.0, 0.045, 15.0, 240, kAll, true, true};
inline constexpr Pass kFinal{"joint, final", 10.0, 0.003, 30.0, 120, kAll, true, false};

/// Measures windows of the mix against all placed tracks; `joint`: together. Progress goes from
/// `done_from` to `done_to`.
Result<void> measure(const Pass& pass, bool joint, double done_from, double done_to,
                     Aligning& session);

/// Notes where each track was clear in the fine pass, and where it was not.
void keep_clear_windows(std::vector<TrackState>& states);

}  // namespace kilter::sync
