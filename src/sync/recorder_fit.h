// One clock for all tracks of a recorder, and the steps of the mix between them.
#pragma once

#include "seams.h"
#include "track_state.h"

namespace kilter::sync {

/// Where a window's sound lies on the timeline.
double on_timeline_s(const Measured& m, const std::vector<Span>& mix_spans);

/// The level on which a track second lies; below 0: none.
int level_at(const TrackState& state, double track_s);

/// Puts a level of a recorder where windows of several of its tracks agree, if that is elsewhere
/// within a voice's way across the room: one track alone may have followed a neighbour's voice.
void recentre_levels(const std::vector<Span>& mix_spans, std::vector<TrackState>& states);

/// One clock: one curve through the windows of all its tracks, as far as they lie within `gate_s`
/// of the curve it had.
void fit_recorders(double gate_s, const std::vector<Span>& mix_spans,
                   std::vector<TrackState>& states);

/// The steps of the mix and the clocks' lines settle together.
void fit_recorders_and_mix(double gate_s, double mix_length_s, std::vector<Seam>& seams,
                           std::vector<Span>& mix_spans, std::vector<TrackState>& states);

}  // namespace kilter::sync
