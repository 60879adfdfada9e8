#include "own_lines.h"

#include <algorithm>
#include <cmath>

#include "kilter/sync/lanes.h"
#include "track_fit.h"

namespace kilter::sync {
namespace {

constexpr double kOwnMargin = 1.5;
constexpr double kSurelyOwn = 5.0;
constexpr int kOwnLineRounds = 3;
constexpr double kSomeOfMix = 0.1;     // of what the track explains most: less is chance
constexpr double kNearlyAsMuch = 0.4;  // guests may be louder in each other's files than at home
constexpr double kSameLine_s = 0.030;

/// The lags at which a track is heard; the first is the one it has.
struct Rivals {
  std::vector<double> lags_s;
  std::vector<TimeMap> maps;
  bool has_steps{false};

  bool any() const { return maps.size() > 1; }
};

Result<Rivals> rivals_of(const Aligning& session, std::size_t k) {
  const TrackState& state = session.states[k];
  std::vector<Lane> lanes;
  for (const Piece& piece : state.pieces)
    lanes.push_back({state.curve.start_s[static_cast<std::size_t>(piece.level)], piece.from_s,
                     piece.to_s, 0.0});
  const auto features = session.features.get(k);
  if (!features) return features.error();
  Rivals rivals{{lanes.front().lag_s}, {*state.map}, lanes.size() > 1};
  for (const double lag_s :
       lags_beside(session.mix_features, **features, state.first, lanes, kLeakReach_s))
    if (auto map = TimeMap::line(lag_s, state.first.drift_ppm, state.length_s, 0.0)) {
      rivals.maps.push_back(*std::move(map));
      rivals.lags_s.push_back(lag_s);
    }
  return rivals;
}

/// Beside the microphones of `among`.
Result<OwnLine> own_among(const Aligning& session, std::size_t k, const Rivals& rivals,
                          const std::vector<char>& among) {
  std::vector<MappedTrack> others;
  for (std::size_t other = 0; other < session.states.size(); ++other)
    if (other != k && among[other] != 0) others.push_back(session.mapped(other));
  return choose_own_line(*session.mix.signal, others, *session.tracks[k].signal, rivals.maps);
}

std::vector<char> microphones(const Aligning& session) {
  std::vector<char> is(session.states.size(), 0);
  for (std::size_t k = 0; k < is.size(); ++k) is[k] = session.is_microphone(k) ? 1 : 0;
  return is;
}

struct OwnLag {
  std::optional<double> better_s;  // than the one it has
  std::vector<double> of_leaks_s;
  double evidence{0.0};
  bool stays{false};  // and surely so
};

Result<OwnLag> own_lag(const Aligning& session, std::size_t k) {
  const auto found = rivals_of(session, k);
  if (!found) return found.error();
  const Rivals& rivals = *found;
  if (!rivals.any()) return OwnLag{};
  const auto own = own_among(session, k, rivals, microphones(session));
  if (!own) return own.error();
  OwnLag lag;
  lag.evidence = own->evidence;
  if (own->index > 0 && own->margin >= kOwnMargin) lag.better_s = rivals.lags_s[own->index];
  lag.stays = own->index == 0 && own->margin >= kOwnMargin;
  if (own->index == 0 && rivals.has_steps) return lag;
  for (std::size_t m = 0; m < rivals.lags_s.size(); ++m)
    if (m != own->index && own->margins[m] >= kSurelyOwn)
      lag.of_leaks_s.push_back(rivals.lags_s[m]);
  return lag;
}

void put_on(double lag_s, const std::vector<Span>& mix_spans, TrackState& state) {
  state.pieces = {{0.0, state.length_s, 0}};
  state.curve.start_s = {lag_s};
  make_map(state, mix_spans);
}

struct Lines {
  double evidence{0.0};     // of all tracks of which there was a choice
  std::vector<char> stays;  // by track: surely on the line it has
  bool changed{false};
};

Result<Lines> choose_own_lines_once(Aligning& session) {
  std::vector<OwnLag> own(session.states.size());
  auto done = for_tracks(session, [&](std::size_t k) -> Result<void> {
    if (!session.is_microphone(k)) return {};
    auto chosen = own_lag(session, k);
    if (!chosen) return chosen.error();
    own[k] = *std::move(chosen);
    return {};
  });
  if (!done) return done.error();
  Lines lines;
  for (std::size_t k = 0; k < session.states.size(); ++k) {
    lines.evidence += own[k].evidence;
    lines.stays.push_back(own[k].stays ? 1 : 0);
    session.states[k].leak_lags_s = std::move(own[k].of_leaks_s);
    if (!own[k].better_s) continue;
    lines.changed = true;
    put_on(*own[k].better_s, session.mix_spans, session.states[k]);
  }
  return lines;
}

Result<Lines> settle_lines(Aligning& session) {
  Result<Lines> lines = Lines{};
  // One that is put right explains more of what the next one only seemed to.
  for (int round = 0; round < kOwnLineRounds; ++round) {
    lines = choose_own_lines_once(session);
    if (!lines || !lines->changed) break;
  }
  return lines;
}

/// Where a track begins a second time: at the latest lag at which it explains some of the mix
/// without the others of which there is a choice; one that steps, where it explains the most.
Result<std::optional<double>> other_start_s(const Aligning& session, std::size_t k,
                                            const Rivals& rivals, const std::vector<char>& others) {
  const auto own = own_among(session, k, rivals, others);
  if (!own) return own.error();
  std::size_t best = rivals.has_steps ? own->index : 0;
  if (!rivals.has_steps)
    for (std::size_t m = 1; m < rivals.lags_s.size(); ++m)
      if (own->shares[m] > kSomeOfMix * own->evidence && rivals.lags_s[m] > rivals.lags_s[best])
        best = m;
  if (best == 0) return std::optional<double>{};
  return std::optional(rivals.lags_s[best]);
}

/// Whether any track of which there is a choice begins elsewhere a second time.
Result<bool> start_again(Aligning& session) {
  std::vector<Rivals> rivals(session.states.size());
  std::vector<char> sole = microphones(session);
  std::size_t open = 0;
  for (std::size_t k = 0; k < rivals.size(); ++k) {
    if (!session.is_microphone(k)) continue;
    auto found = rivals_of(session, k);
    if (!found) return found.error();
    rivals[k] = *std::move(found);
    if (!rivals[k].any()) continue;
    sole[k] = 0;
    ++open;
  }
  if (open < 2) return false;
  std::vector<std::optional<double>> start_s(rivals.size());
  auto done = for_tracks(session, [&](std::size_t k) -> Result<void> {
    if (!rivals[k].any()) return {};
    auto start = other_start_s(session, k, rivals[k], sole);
    if (!start) return start.error();
    start_s[k] = *start;
    return {};
  });
  if (!done) return done.error();
  bool moved = false;
  for (std::size_t k = 0; k < rivals.size(); ++k) {
    if (!start_s[k]) continue;
    put_on(*start_s[k], session.mix_spans, session.states[k]);
    moved = true;
  }
  return moved;
}

bool on_one_line(const TrackState& a, const TrackState& b) {
  return a.pieces.size() == b.pieces.size() && std::abs(a.start_s() - b.start_s()) < kSameLine_s;
}

/// Guests who hear each other explain the mix in two ways: each by his own voice, or each by the
/// others'. What leaks comes late, so that in the second way all of them lie earlier.
bool hold_each_other(const std::vector<TrackState>& states, const std::vector<TrackState>& later,
                     const std::vector<char>& stays) {
  int count = 0;
  for (std::size_t k = 0; k < states.size(); ++k) {
    if (!states[k].placed || !later[k].placed || on_one_line(states[k], later[k])) continue;
    if (later[k].start_s() < states[k].start_s() - kSameLine_s || stays[k] == 0) return false;
    ++count;
  }
  return count > 1;
}

}  // namespace

Result<void> choose_own_lines(Aligning& session) {
  const auto lines = settle_lines(session);
  if (!lines) return lines.error();
  std::vector<TrackState> settled = session.states;
  const auto moved = start_again(session);
  if (!moved) return moved.error();
  if (!*moved) return {};
  const auto anew = settle_lines(session);
  if (!anew) return anew.error();
  if (anew->evidence < kNearlyAsMuch * lines->evidence ||
      !hold_each_other(settled, session.states, anew->stays)) {
    session.states = std::move(settled);
    return {};
  }
  for (std::size_t k = 0; k < settled.size(); ++k)
    if (settled[k].placed && settled[k].pieces.size() == 1 &&
        !on_one_line(settled[k], session.states[k]))
      session.states[k].mutual_lag_s = settled[k].start_s();
  return {};
}

}  // namespace kilter::sync
