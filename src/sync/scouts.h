// What tracks say elsewhere than on their maps, and what that asks of the next round.
#pragma once

#include "aligning.h"

namespace kilter::sync {

/// What each track says elsewhere than on its map, but for what leaks into it; and whether several
/// are off by as much, as by a fault of the mix.
Result<void> look_for_strays(Aligning& session);

/// A track's strays as windows, those that agree on one lane. What a stream's buffer may have done
/// is left to the windows: it would come back.
std::vector<Measured> scouts_of(const std::vector<TrackState>& states, std::size_t k);

/// Puts scouts among the windows of the fine pass. A window that holds a stray says only where the
/// rest of it lies.
void send_out(std::vector<Measured> scouts, TrackState& state);

/// Puts those scouts among the windows of the final pass that lie within `gate_s` of the track's
/// line: a piece too short for a window is known by its scouts alone.
void recall_scouts(double gate_s, const std::vector<Span>& mix_spans, TrackState& state);

}  // namespace kilter::sync
