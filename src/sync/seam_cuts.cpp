#include "seam_cuts.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "mix_timeline.h"

namespace kilter::sync {
namespace {

/// Of the windows before the track's first step the one farthest from all seams: one that reaches
/// over a seam may have its sound behind it. Nothing where no window counts.
std::optional<double> surely_heard_s(const TrackState& state, const std::vector<Seam>& seams,
                                     const std::vector<Span>& mix_spans) {
  std::optional<double> best_s;
  double farthest_s = -1.0;
  for (std::size_t i = 0; i < state.measured.size(); ++i) {
    const double at_s = state.measured[i].at_s;
    if (state.weights[i] <= 0.1 || !is_on_timeline(mix_spans, at_s)) continue;
    if (!state.steps.empty() && at_s > state.steps.front().mix_from_s) continue;
    double away_s = 1e300;
    for (const Seam& seam : seams) away_s = std::min(away_s, std::abs(at_s - seam.place.mix_end_s));
    if (away_s <= farthest_s) continue;
    farthest_s = away_s;
    best_s = at_s;
  }
  return best_s;
}

}  // namespace

void cut_at_seams(const std::vector<Seam>& seams, const std::vector<std::size_t>& members,
                  const std::vector<Span>& mix_spans, std::vector<TrackState>& states) {
  if (members.empty()) return;
  const int recorder = states[members.front()].recorder;
  const auto is_shared = [&](const Seam& seam) {
    return seam.cause == SeamCause::recorder && seam.recorder == recorder;
  };
  // One that steps alone, or seems to, may not know the recorder's line from the start.
  const auto is_whole = [&](std::size_t k) {
    const auto all = std::count_if(seams.begin(), seams.end(), [&](const Seam& seam) {
      return shows(seam, k) && (is_shared(seam) || seam.cause == SeamCause::mix);
    });
    return all >= std::ssize(states[k].steps);
  };
  std::size_t best = members.front();
  for (const std::size_t k : members)
    if (std::pair(is_whole(k), states[k].support()) >
        std::pair(is_whole(best), states[best].support()))
      best = k;

  // Where the best known member is heard on its first line, seams may lie behind it already.
  const auto heard_s = surely_heard_s(states[best], seams, mix_spans);
  ClockCurve curve = states[best].curve;
  double start_s = curve.start_s.front();
  if (heard_s) {
    start_s += to_timeline(mix_spans, *heard_s) - *heard_s;
    for (const Seam& seam : seams)
      if (is_shared(seam) && seam.place.mix_end_s < *heard_s && !shows(seam, best))
        start_s -= seam.step_s;
  }
  curve.start_s = {start_s};
  curve.ties.clear();
  for (const Seam& seam : seams)
    if (is_shared(seam)) curve.start_s.push_back(curve.start_s.back() + seam.step_s);
  const auto shared_levels = static_cast<int>(curve.start_s.size());

  for (const std::size_t k : members) {
    TrackState& state = states[k];
    state.pieces.clear();
    Piece piece;
    int shared = 0;
    double own_s = 0.0;
    for (const Seam& seam : seams) {
      if (!is_shared(seam) && !is_own(seam, k)) continue;
      const TrackCut cut = cut_of(seams, seam, k, curve.rate);
      const double end_s = std::clamp(cut.end_s, piece.from_s, state.length_s);
      piece.to_s = end_s;
      state.pieces.push_back(piece);
      if (is_shared(seam)) ++shared;
      if (is_own(seam, k)) own_s += seam.step_s;
      piece.from_s = std::clamp(cut.from_s, end_s, state.length_s);
      piece.level = shared;
      if (own_s != 0.0) {
        piece.level = static_cast<int>(curve.start_s.size());
        curve.start_s.push_back(curve.start_s[static_cast<std::size_t>(shared)] + own_s);
        // Over the recorder's step it is off by as much as before.
        const int before = state.pieces.back().level;
        if (is_shared(seam) && before >= shared_levels)
          curve.ties.push_back({before, piece.level, shared - 1, shared});
      }
    }
    piece.to_s = state.length_s;
    state.pieces.push_back(piece);
  }
  for (const std::size_t k : members) states[k].curve = curve;
}

}  // namespace kilter::sync
