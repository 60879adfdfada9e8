#include "own_lines.h"

#include "kilter/sync/lanes.h"
#include "track_fit.h"

namespace kilter::sync {
namespace {

constexpr double kOwnMargin = 1.5;
constexpr double kSurelyOwn = 5.0;
constexpr int kOwnLineRounds = 3;

struct OwnLag {
  std::optional<double> better_s;  // than the one it has
  std::vector<double> of_leaks_s;
};

Result<OwnLag> own_lag(const Aligning& session, std::size_t k) {
  const TrackState& state = session.states[k];
  std::vector<Lane> lanes;
  for (const Piece& piece : state.pieces)
    lanes.push_back({state.curve.start_s[static_cast<std::size_t>(piece.level)], piece.from_s,
                     piece.to_s, 0.0});
  std::vector<TimeMap> maps{*state.map};
  std::vector<double> of_map{lanes.front().lag_s};
  for (const double lag_s :
       lags_beside(session.mix_features, session.features[k], state.first, lanes, kLeakReach_s))
    if (auto map = TimeMap::line(lag_s, state.first.drift_ppm, state.length_s, 0.0)) {
      maps.push_back(*std::move(map));
      of_map.push_back(lag_s);
    }
  if (maps.size() < 2) return OwnLag{};
  std::vector<MappedTrack> others;
  for (std::size_t other = 0; other < session.states.size(); ++other)
    if (other != k && session.is_microphone(other)) others.push_back(session.mapped(other));
  const auto own = choose_own_line(*session.mix.signal, others, *session.tracks[k].signal, maps);
  if (!own) return own.error();
  OwnLag lag;
  if (own->index > 0 && own->margin >= kOwnMargin) lag.better_s = of_map[own->index];
  if (own->margin >= kSurelyOwn && (own->index > 0 || lanes.size() == 1))
    for (std::size_t m = 0; m < of_map.size(); ++m)
      if (m != own->index) lag.of_leaks_s.push_back(of_map[m]);
  return lag;
}

Result<bool> choose_own_lines_once(Aligning& session) {
  std::vector<OwnLag> own(session.states.size());
  auto done = for_tracks(session, [&](std::size_t k) -> Result<void> {
    if (!session.is_microphone(k)) return {};
    auto chosen = own_lag(session, k);
    if (!chosen) return chosen.error();
    own[k] = *std::move(chosen);
    return {};
  });
  if (!done) return done.error();
  bool changed = false;
  for (std::size_t k = 0; k < session.states.size(); ++k) {
    session.states[k].leak_lags_s = std::move(own[k].of_leaks_s);
    if (!own[k].better_s) continue;
    changed = true;
    session.states[k].pieces = {{0.0, session.states[k].length_s, 0}};
    session.states[k].curve.start_s = {*own[k].better_s};
    make_map(session.states[k], session.mix_spans);
  }
  return changed;
}

}  // namespace

Result<void> choose_own_lines(Aligning& session) {
  // One that is put right explains more of what the next one only seemed to.
  for (int round = 0; round < kOwnLineRounds; ++round) {
    auto changed = choose_own_lines_once(session);
    if (!changed) return changed.error();
    if (!*changed) break;
  }
  return {};
}

}  // namespace kilter::sync
