// What really happened, worked out from what was ordered.
#pragma once

#include <vector>

#include "simulator.h"

namespace kilter::simulator {

/// Whether `people` together speak for 1.5 s in the 5 s before `end_s` and as much in the 5 s after
/// `again_s`.
bool speech_on_both_sides(const std::vector<Utterance>& talk, const std::vector<int>& people,
                          double end_s, double again_s);

/// The moment nearest to `line_s`, at most 30 s away, that has speech on both sides when the sound
/// pauses for `gap_s` there; `in_pause`: and a quarter of a second of silence around it. `line_s`
/// itself where there is none.
double amid_speech(const std::vector<Utterance>& talk, const std::vector<int>& people,
                   double line_s, double gap_s, bool in_pause);

/// The moment nearest to `line_s` that has a quarter of a second of silence of `person` around it.
double nearest_pause(const std::vector<Utterance>& talk, int person, double line_s);

/// Seconds within `from_s`..`to_s` in which `person` speaks.
double spoken_s(const std::vector<Utterance>& talk, int person, double from_s, double to_s);

/// The voice's own time at each step, and the sum so far.
std::vector<HeardStep> heard_steps(const std::vector<BufferStep>& steps);

/// Track time over timeline time less one, over the whole file but its seams.
double mean_drift_ppm(const SimulatedTrack& track);

/// Fills `seams` of all tracks and `mix_seams`; all else of the session must be there.
void find_seams(Session& session);

}  // namespace kilter::simulator
