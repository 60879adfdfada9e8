#include "first_places.h"

#include <algorithm>
#include <cmath>

#include "kilter/sync/few_words.h"
#include "kilter/sync/lanes.h"
#include "kilter/sync/rate_hypotheses.h"
#include "track_fit.h"

namespace kilter::sync {
namespace {

constexpr double kLaneWidth_s = 0.030;  // lags closer than this are one lane
constexpr double kSameLag_s = 0.030;
constexpr double kSteepPpm = 120.0;  // so fast hardly a clock drifts
constexpr double kSlid_s = 0.010;
constexpr double kNearlyAll = 0.8;  // of the squared matches

void put_lanes(const std::vector<Lane>& lanes, double drift_ppm, const std::vector<Span>& mix_spans,
               TrackState& state) {
  state.lanes_drift_ppm = drift_ppm;
  state.curve = {};
  state.curve.rate = 1.0 / (1.0 + drift_ppm * 1e-6);
  state.curve.start_s.clear();
  state.pieces.clear();
  for (const Lane& lane : lanes) {
    state.pieces.push_back({lane.from_s, lane.to_s, static_cast<int>(state.curve.start_s.size())});
    state.curve.start_s.push_back(lane.lag_s);
  }
  make_map(state, mix_spans);
}

/// A wrong header is put right before anything else looks at the track.
Result<void> correct_rate(Aligning& session, std::size_t k,
                          std::optional<double> likely_ratio = {}) {
  if (session.tracks[k].rate_hz <= 0.0) return {};
  TrackState& state = session.states[k];
  const auto features = session.features.get(k);
  if (!features) return features.error();
  auto verdict = find_rate(session.mix_features, *session.tracks[k].signal, **features,
                           session.tracks[k].rate_hz, state.first,
                           {likely_ratio, session.options.open_store, session.options.stop});
  if (!verdict) return verdict.error();
  if (verdict->ratio == 1.0) return {};
  session.corrected[k] =
      std::make_unique<RateCorrectedSignal>(*session.tracks[k].signal, verdict->ratio);
  session.tracks[k].signal = session.corrected[k].get();
  if (auto put = session.features.put(k, std::move(verdict->features)); !put) return put;
  state.first = std::move(verdict->map);
  state.rate_ratio = verdict->ratio;
  state.length_s /= verdict->ratio;
  return {};
}

/// Pieces and curve of the first map's lanes.
Result<void> put_first(Aligning& session, std::size_t k) {
  TrackState& state = session.states[k];
  const auto features = session.features.get(k);
  if (!features) return features.error();
  auto lanes = find_lanes(session.mix_features, **features, state.first, state.length_s);
  if (lanes.size() > 1 || std::abs(state.first.drift_ppm) > kSteepPpm) {
    // The one line through all of them may have taken a step for a drift.
    FirstMap again = with_drift_between_steps(state.first);
    const double slid_s = std::abs(again.drift_ppm - state.first.drift_ppm) * 1e-6 * state.length_s;
    if (slid_s > (lanes.size() > 1 ? kLaneWidth_s : kSlid_s)) {
      state.first = std::move(again);
      lanes = find_lanes(session.mix_features, **features, state.first, state.length_s);
    }
  }
  put_lanes(lanes, state.first.drift_ppm, session.mix_spans, state);
  return {};
}

/// The ratio at which nearly all tracks run that were found, two at least: then it is the mix whose
/// header is wrong, and one of another rate needs the same ratio, which leads to no usual rate.
std::optional<double> common_ratio(const std::vector<TrackState>& states) {
  double all = 0.0;
  for (const TrackState& state : states)
    if (state.first.found) all += state.first.match_sigma * state.first.match_sigma;
  for (const TrackState& one : states) {
    if (!one.first.found || one.rate_ratio == 1.0) continue;
    double alike = 0.0;
    int count = 0;
    for (const TrackState& state : states) {
      if (!state.first.found || state.rate_ratio != one.rate_ratio) continue;
      alike += state.first.match_sigma * state.first.match_sigma;
      ++count;
    }
    if (count > 1 && alike > kNearlyAll * all) return one.rate_ratio;
  }
  return std::nullopt;
}

/// Of a track that the mix does not place, by the track whose sound it holds most of: it may be a
/// part of that one in which hardly anybody talks.
Result<FirstMap> by_another(const Aligning& session, std::size_t track) {
  FirstMap best;
  const auto features = session.features.get(track);
  if (!features) return features.error();
  for (std::size_t k = 0; k < session.states.size() && !session.stopped(); ++k) {
    const FirstMap& other = session.states[k].first;
    if (k == track || !other.found) continue;
    const auto its = session.features.get(k);
    if (!its) return its.error();
    FirstMap map = first_map(**its, **features, session.options.stop);
    if (!map.found || map.match_sigma <= best.match_sigma) continue;
    const double slope = 1.0 - other.drift_ppm * 1e-6;
    map.lag_s = other.lag_s + slope * map.lag_s;
    map.drift_ppm = 1e6 * (1.0 - slope * (1.0 - map.drift_ppm * 1e-6));
    best = std::move(map);
  }
  return best;
}

/// The features of the mix and of every track.
Result<void> listen(Aligning& session) {
  const int count = static_cast<int>(session.tracks.size());
  std::vector<std::optional<Error>> errors(session.tracks.size() + 1);  // the mix's last
  const auto make_room = [] { return OnsetRoom{}; };
  parallel_with(count + 1, session.options.threads, make_room, [&](int i, OnsetRoom& room) {
    if (session.stopped()) return;
    const auto at = static_cast<std::size_t>(i);
    auto made = onset_features(i == count ? *session.mix.signal : *session.tracks[at].signal,
                               session.options.stop, session.options.open_store, &room);
    if (!made)
      errors[at] = made.error();
    else if (i == count)
      session.mix_features = *std::move(made);
    else if (auto put = session.features.put(at, *std::move(made)); !put)
      errors[at] = put.error();
  });
  for (const auto& error : errors)
    if (error) return *error;
  if (session.stopped()) return interrupted();
  return {};
}

}  // namespace

Result<void> find_first_places(Aligning& session) {
  session.report(0.0, "listening");
  if (auto done = listen(session); !done) return done;
  session.report(0.08, "first map");
  auto done = for_tracks(session, [&](std::size_t k) -> Result<void> {
    TrackState& state = session.states[k];
    state.length_s = std::max(session.tracks[k].length_s, 1.0 / kAnalysisRateHz);
    {
      const auto features = session.features.get(k);
      if (!features) return features.error();
      state.first = first_map(session.mix_features, **features, session.options.stop);
    }
    if (auto corrected = correct_rate(session, k); !corrected) return corrected;
    if (!state.first.found) {
      auto words =
          map_of_few_words(*session.mix.signal, *session.tracks[k].signal, session.options.stop);
      if (!words) return words.error();
      state.first = *std::move(words);
    }
    if (state.first.found) return put_first(session, k);
    return {};
  });
  if (!done) return done;
  const std::optional<double> ratio = common_ratio(session.states);
  if (!ratio) return {};
  return for_tracks(session, [&](std::size_t k) -> Result<void> {
    if (session.states[k].rate_ratio != 1.0) return {};
    if (auto corrected = correct_rate(session, k, ratio); !corrected) return corrected;
    if (session.states[k].rate_ratio != 1.0) return put_first(session, k);
    return {};
  });
}

Result<void> set_copies_apart(Aligning& session) {
  std::vector<FirstMap> maps(session.states.size());
  auto mapped = for_tracks(session, [&](std::size_t k) -> Result<void> {
    auto map = session.states[k].first.found ? Result<FirstMap>(session.states[k].first)
                                             : by_another(session, k);
    if (!map) return map.error();
    maps[k] = *std::move(map);
    return {};
  });
  if (!mapped) return mapped;
  std::vector<CopyCandidate> candidates;
  for (std::size_t k = 0; k < session.states.size(); ++k)
    candidates.push_back(
        {session.tracks[k].signal, &maps[k], session.tracks[k].lossy, session.tracks[k].rate_hz});
  auto found = find_copies(*session.mix.signal, session.mix_features, candidates,
                           session.options.threads, session.options.stop);
  if (!found) return found.error();
  session.copies = *std::move(found);
  for (std::size_t k = 0; k < session.states.size(); ++k) {
    session.states[k].apart = session.copies[k].kind == CopyKind::own_mix;
    // Its place follows from what it copies.
    if (session.copies[k].kind == CopyKind::of_track || session.copies[k].kind == CopyKind::of_mix)
      session.states[k].placed = false;
  }
  return {};
}

Result<void> find_lanes_again(Aligning& session) {
  return for_tracks(session, [&](std::size_t k) -> Result<void> {
    TrackState& state = session.states[k];
    if (!state.placed) return {};
    const double slid_s =
        std::abs(state.drift_ppm() - state.lanes_drift_ppm) * 1e-6 * state.length_s;
    if (state.pieces.size() != 1 && slid_s < kLaneWidth_s) return {};
    FirstMap map = state.first;
    map.lag_s = state.curve.start_s[static_cast<std::size_t>(state.pieces.front().level)];
    map.drift_ppm = state.drift_ppm();
    const auto features = session.features.get(k);
    if (!features) return features.error();
    const auto lanes = find_lanes(session.mix_features, **features, map, state.length_s);
    const bool of_leaks = std::any_of(lanes.begin(), lanes.end(), [&](const Lane& lane) {
      return std::any_of(state.leak_lags_s.begin(), state.leak_lags_s.end(),
                         [&](double lag_s) { return std::abs(lane.lag_s - lag_s) < kSameLag_s; });
    });
    const bool differs = lanes.size() > 1 || state.pieces.size() > 1;
    if (differs && !of_leaks) put_lanes(lanes, map.drift_ppm, session.mix_spans, state);
    return {};
  });
}

}  // namespace kilter::sync
