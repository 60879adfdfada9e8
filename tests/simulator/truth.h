// What really happened, worked out from what was ordered.
#pragma once

#include <vector>

#include "simulator.h"

namespace kilter::simulator {

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
