// A track's clock, or its recorder's, as the straight line that it is near one place.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "kilter/sync/clock_fit.h"
#include "kilter/sync/seam_place.h"
#include "seams.h"
#include "track_state.h"

namespace kilter::sync {

/// One level of a clock near a second of the mix.
LocalLine local_line(const ClockCurve& curve, int level, double mix_s);

/// The line of a track that does not step between two seconds of the mix.
std::optional<LocalLine> line_through(const TrackState& state, double from_s, double to_s);

/// The lines of a recorder on both sides of a seam, in the time of one of its tracks.
struct RecorderLines {
  int recorder{-1};
  std::size_t track{0};
  LocalLine before;
  LocalLine after;

  double step_s(double mix_s) const { return after.to_mix(before.to_track(mix_s)) - mix_s; }
};

/// Those of each recorder whose tracks show the seam.
std::vector<RecorderLines> lines_round(const Seam& seam, const std::vector<TrackState>& states);

/// The steps that those recorders show.
std::vector<double> steps_s(const Seam& seam, const std::vector<TrackState>& states);

}  // namespace kilter::sync
