// A track's state as the fine pass leaves it, made from where its windows are heard.
#pragma once

#include <vector>

#include "track_fit.h"
#include "track_state.h"

namespace kilter::sync {

inline constexpr double kMixLength_s = 300.0;

/// From mix second `from_s` to `to_s` the track is heard every 6 s on the line that begins at
/// `start_s`.
struct HeardStretch {
  double from_s{0.0};
  double to_s{0.0};
  double start_s{0.0};
};

inline TrackState heard_track(double length_s, const std::vector<HeardStretch>& stretches,
                              double drift_ppm = 0.0) {
  TrackState state;
  state.placed = true;
  state.length_s = length_s;
  state.curve.rate = 1.0 / (1.0 + drift_ppm * 1e-6);
  state.curve.start_s = {stretches.front().start_s};
  for (const HeardStretch& stretch : stretches)
    for (double at_s = stretch.from_s; at_s <= stretch.to_s; at_s += 6.0) {
      Measured m;
      m.at_s = m.mix_s = at_s;
      m.track_s = (at_s - stretch.start_s) / state.curve.rate;
      m.sigma_s = 1e-6;
      m.reading.heard = true;
      m.reading.sigma_s = 1e-6;
      m.reading.coherence = 0.99;
      m.reading.peak_sigma = 40.0;
      state.measured.push_back(m);
    }
  if (fit_levels(state)) cut_half_way(state);
  make_map(state, {{0.0, kMixLength_s, 0.0, kMixLength_s, 0.0}});
  return state;
}

}  // namespace kilter::sync
