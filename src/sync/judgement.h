// How sure a placing is, and what a person should know of it.
#pragma once

#include <string>

#include "kilter/base/lineup.h"
#include "kilter/sync/align.h"
#include "seams.h"
#include "track_state.h"

namespace kilter::sync {

/// What the judgement of one track needs to know of the session.
struct Evidence {
  const MixInput& mix;
  const std::vector<TrackInput>& tracks;
  const std::vector<TrackState>& states;
  const std::vector<Span>& mix_spans;
};

/// 95 % bound of the placing at one place, in microseconds: what the fit leaves open there, widened
/// where few windows vouch for it, and what no number of windows averages away.
double uncertainty_us(const Evidence& evidence, std::size_t track, int level, double track_s);

/// Why the evidence does not rule every other placing out; empty where it does.
std::string reason_to_doubt(const Evidence& evidence, std::size_t track, double uncertainty_us);

Finding thin_evidence(const std::string& reason);
/// `line_s` is the seam's place on the timeline.
Finding seam_finding(const Seam& seam, double line_s);
Finding mix_seam_finding(const Seam& seam, double line_s);

}  // namespace kilter::sync
