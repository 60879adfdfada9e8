#include "scouts.h"

#include <algorithm>
#include <cmath>

#include "elsewhere.h"
#include "held_back.h"
#include "neighbours.h"
#include "recorder_fit.h"
#include "window_pass.h"

namespace kilter::sync {
namespace {

// A stray of a second is good to a fraction of a sample.
constexpr double kScoutSigma_s = 20e-6;
constexpr double kScoutCoherence = 0.8;
constexpr double kSameLane_s = 1e-3;
constexpr double kSharedStray_s = 2e-3;
constexpr int kLeastInPlace = 2;  // quarters of a second
constexpr double kUnvouchedTalk_s = 1.5;
constexpr double kUnvouchedInRoom_s = 3.0;  // where it may be a neighbour's, faintly heard
constexpr double kLongestExcursion_s = 0.075;
constexpr double kMutualLag_s = 0.020;  // it is known from when sound sets in

/// One word amid others that are in place: no fault brings it there and back, but another word
/// may sound like it.
bool is_lone(const Stray& stray, const std::vector<Stray>& all) {
  const double off_s = stray.mix_s - stray.mapped_s;
  const auto alike = std::count_if(all.begin(), all.end(), [&](const Stray& other) {
    return std::abs(other.mix_s - other.mapped_s - off_s) < kSharedStray_s;
  });
  return stray.amid_others && alike < 2;
}

/// Whether a stretch between two seams is placed by strays alone: in a room they may be a
/// neighbour's words.
bool knows_by_scouts(const TrackState& state) {
  for (const Piece& piece : state.pieces) {
    bool scouted = false;
    bool windowed = false;
    for (std::size_t i = 0; i < state.measured.size(); ++i) {
      const Measured& m = state.measured[i];
      if (m.track_s < piece.from_s || m.track_s > piece.to_s || state.weights[i] <= 0.1) continue;
      (m.piece >= kScoutLanes ? scouted : windowed) = true;
    }
    if (scouted && !windowed) return true;
  }
  return false;
}

/// Whether another track is off by as much: then neither a buffer nor a neighbour did it.
bool is_shared(const std::vector<TrackState>& states, std::size_t k, const Stray& stray) {
  const double off_s = stray.mix_s - stray.mapped_s;
  for (std::size_t other = 0; other < states.size(); ++other) {
    if (other == k || states[other].recorder == states[k].recorder) continue;
    for (const Stray& its : states[other].strays)
      if (std::abs(its.mix_s - its.mapped_s - off_s) < kSharedStray_s) return true;
  }
  return false;
}

/// Whether it may be another's who is so loud there that nobody seems to talk alone.
bool is_mutual(const TrackState& state, const Stray& stray) {
  return state.mutual_lag_s && std::abs(stray.mix_s - stray.track_s * state.curve.rate -
                                        *state.mutual_lag_s) < kMutualLag_s;
}

/// What leaks into a track is heard elsewhere, and says nothing of the track.
Result<void> set_leaks_aside(const std::vector<bool>& remote, Aligning& session) {
  if (std::all_of(session.states.begin(), session.states.end(),
                  [](const TrackState& state) { return state.strays.empty(); }))
    return {};
  if (auto done = hear_leaks(remote, session); !done) return done.error();
  for (std::size_t k = 0; k < session.states.size(); ++k)
    std::erase_if(session.states[k].strays, [&](const Stray& stray) {
      return is_leak(session.leaks, k, stray.mix_s - stray.mapped_s) ||
             is_mutual(session.states[k], stray);
    });
  return {};
}

void doubt_the_mix(std::vector<TrackState>& states) {
  double off_s = 0.0;
  for (std::size_t k = 0; k < states.size(); ++k)
    for (const Stray& stray : states[k].strays)
      if (is_shared(states, k, stray))
        off_s = std::max(off_s, std::abs(stray.mix_s - stray.mapped_s));
  if (off_s > 0.0)
    for (TrackState& state : states) state.shared_stray_s = off_s;
}

/// Where tracks say something that is found nowhere, though the mix holds the talk there. Before
/// anybody is in place, and behind the last who is, it holds a jingle, or silence.
void tell_unvouched(const std::vector<Whereabouts>& of_tracks, std::vector<TrackState>& states) {
  double from_s = 1e300;
  double to_s = -1e300;
  for (const Whereabouts& each : of_tracks) {
    from_s = std::min(from_s, each.in_place_from_s);
    to_s = std::max(to_s, each.in_place_to_s);
  }
  for (std::size_t k = 0; k < states.size(); ++k) {
    std::vector<Missing> nowhere = of_tracks[k].nowhere;
    std::erase_if(nowhere, [&](const Missing& each) {
      return each.mapped_s < from_s || each.mapped_s > to_s;
    });
    if (loud_s(nowhere) >= (states[k].streamed ? kUnvouchedTalk_s : kUnvouchedInRoom_s))
      states[k].unvouched_s = nowhere.back().track_s;
  }
}

}  // namespace

Result<void> look_for_strays(Aligning& session) {
  const auto tracks_remote = remote_tracks(session);
  if (!tracks_remote) return tracks_remote.error();
  const std::vector<bool>& remote = *tracks_remote;
  std::vector<Whereabouts> of_tracks(session.states.size());
  auto done = for_tracks(session, [&](std::size_t k) -> Result<void> {
    TrackState& state = session.states[k];
    state.strays.clear();
    state.missing.reset();
    state.moved.clear();
    state.unvouched_s.reset();
    state.shared_stray_s.reset();
    state.faint = false;
    // A stream that goes in stairs is off its line all along.
    if (!session.is_microphone(k) || state.splice_s > 0.0) return {};
    auto found =
        find_strays(*session.mix.signal, session.mapped(k), {.stop = session.options.stop});
    if (!found) return found.error();
    const bool streamed = state.streamed = remote[k] || is_alone(session.states, k);
    state.faint = found->least_in_place < kLeastInPlace || (!streamed && knows_by_scouts(state));
    if (found->is_all) state.missing = found->missing;
    of_tracks[k] = *found;
    for (const Stray& stray : found->elsewhere) {
      // A stream's buffer comes and goes.
      const bool excursion = streamed && stray.amid_others &&
                             std::abs(stray.mix_s - stray.mapped_s) < kLongestExcursion_s;
      if (excursion || is_held_back(state, stray.mix_s, stray.mix_s - stray.mapped_s))
        state.moved.push_back(stray);
      else if (!is_lone(stray, found->elsewhere))
        state.strays.push_back(stray);
    }
    return {};
  });
  if (done) done = set_leaks_aside(remote, session);
  if (!done) return done;
  tell_unvouched(of_tracks, session.states);
  doubt_the_mix(session.states);
  return {};
}

std::vector<Measured> scouts_of(const std::vector<TrackState>& states, std::size_t k) {
  const TrackState& state = states[k];
  std::vector<Measured> scouts;
  if (state.strays.empty()) return scouts;
  int lane = kScoutLanes;
  double lag_s = 0.0;
  double inverted = 0.0;
  for (std::size_t i = 0; i < state.measured.size(); ++i)
    inverted += state.weights[i] * (state.measured[i].reading.inverted ? 1.0 : -1.0);
  for (const Stray& stray : state.strays) {
    if (state.streamed && std::abs(stray.mix_s - stray.mapped_s) < kLongestExcursion_s &&
        !is_shared(states, k, stray))
      continue;
    const double here_s = stray.mix_s - stray.track_s * state.curve.rate;
    if (!scouts.empty() && std::abs(here_s - lag_s) > kSameLane_s) ++lane;
    lag_s = here_s;
    Reading reading;
    reading.heard = true;
    reading.offset_s = stray.mix_s - stray.mapped_s;
    reading.sigma_s = kScoutSigma_s;
    reading.peak_sigma = stray.peak_sigma;
    reading.coherence = kScoutCoherence;
    reading.inverted = inverted > 0.0;
    scouts.push_back({stray.mix_s, stray.track_s, stray.mix_s, kScoutSigma_s, lane, reading});
  }
  return scouts;
}

void send_out(std::vector<Measured> scouts, TrackState& state) {
  std::erase_if(state.measured, [&](const Measured& m) {
    return std::any_of(scouts.begin(), scouts.end(), [&](const Measured& scout) {
      const double mapped_s = scout.mix_s - scout.reading.offset_s;
      return std::abs(m.at_s - mapped_s) < 0.5 * kFine.window_s;
    });
  });
  state.measured.insert(state.measured.end(), scouts.begin(), scouts.end());
  std::stable_sort(state.measured.begin(), state.measured.end(),
                   [](const Measured& a, const Measured& b) { return a.at_s < b.at_s; });
  state.scouts = std::move(scouts);
}

void recall_scouts(double gate_s, const std::vector<Span>& mix_spans, TrackState& state) {
  for (const Measured& scout : state.scouts) {
    const int level = level_at(state, scout.track_s);
    if (level < 0) continue;
    const double away_s =
        on_timeline_s(scout, mix_spans) - state.curve.line_s(level, scout.track_s);
    if (std::abs(away_s) < gate_s) state.measured.push_back(scout);
  }
}

}  // namespace kilter::sync
