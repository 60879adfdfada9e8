#include "own_levels.h"

#include <algorithm>
#include <cmath>

#include "kilter/sync/seam_place.h"
#include "track_fit.h"
#include "window_pass.h"

namespace kilter::sync {
namespace {

constexpr double kHalfTold = 0.7;  // coherence from which one line explains more than half
constexpr double kOnLine_s = 0.1e-3;

void fit_own_levels(const std::vector<Span>& mix_spans, TrackState& state) {
  if (fit_levels(state)) cut_half_way(state);
  make_map(state, mix_spans);
}

/// Between windows a splice may lie anywhere, in the mix itself as far as it hits a pause.
Result<void> place_splices(const MixInput& mix, const AnalysisSignal* signal, TrackState& state) {
  for (Step& step : state.steps) {
    const auto level = static_cast<std::size_t>(step.level);
    const SeamWitness witness{signal,
                              {state.curve.start_s[level], state.curve.rate},
                              {state.curve.start_s[level + 1], state.curve.rate}};
    const auto place = place_seam(*mix.signal, {witness}, step.step_s,
                                  std::max(0.0, step.mix_from_s - 0.5 * kFine.window_s),
                                  std::min(mix.length_s, step.mix_to_s + 0.5 * kFine.window_s));
    if (!place) return place.error();
    // The windows nearest to it on either line hold it off, too.
    double before_s = 0.0;
    double after_s = mix.length_s;
    for (const Measured& m : state.measured) {
      if (m.reading.coherence < kHalfTold) continue;
      if (std::abs(m.mix_s - witness.before.to_mix(m.track_s)) < kOnLine_s &&
          m.at_s <= step.mix_to_s)
        before_s = std::max(before_s, m.at_s - 0.5 * kFine.window_s);
      if (std::abs(m.mix_s - witness.after.to_mix(m.track_s)) < kOnLine_s &&
          m.at_s >= step.mix_from_s)
        after_s = std::min(after_s, m.at_s + 0.5 * kFine.window_s);
    }
    if (before_s > after_s) continue;
    step.mix_from_s = std::clamp(place->earliest_s, before_s, after_s);
    step.mix_to_s = std::clamp(place->latest_s, before_s, after_s);
  }
  return {};
}

}  // namespace

Result<void> find_levels(double done_from, double done_to, Aligning& session) {
  for_placed(session, [&](TrackState& state) { fit_own_levels(session.mix_spans, state); });
  const auto stairs = [](const TrackState& state) { return state.placed && goes_in_stairs(state); };
  if (std::none_of(session.states.begin(), session.states.end(), stairs)) return {};
  // The windows were measured through the mean drift, and a stream that stands still between
  // splices runs off them.
  if (auto done = measure(kFine, session.options.joint, done_from, done_to, session); !done)
    return done.error();
  for_placed(session, [&](TrackState& state) { fit_own_levels(session.mix_spans, state); });
  return for_tracks(session, [&](std::size_t k) -> Result<void> {
    TrackState& state = session.states[k];
    if (!stairs(state)) return {};
    if (auto done = place_splices(session.mix, session.tracks[k].signal, state); !done) return done;
    flatten_staircase(state);
    cut_half_way(state);
    make_map(state, session.mix_spans);
    return {};
  });
}

}  // namespace kilter::sync
