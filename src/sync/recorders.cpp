#include "recorders.h"

#include <algorithm>
#include <numeric>
#include <optional>

namespace kilter::sync {
namespace {

constexpr double kSameStart_s = 100e-6;  // tracks of one recorder start together
constexpr double kSameDrift_ppm = 0.5;
constexpr double kSameDriftOfSiblings_ppm = 6.0;  // a wandering clock, heard at other times
constexpr double kSameLength_s = 1e-4;
// Further apart, files that begin together are no siblings.
constexpr double kSiblingReach_s = 0.025;

bool same_start(const TrackState& a, int level_of_a, const TrackState& b, int level_of_b) {
  const double sigma_s = std::hypot(a.fit.sigma_s(level_of_a, 0.0), b.fit.sigma_s(level_of_b, 0.0));
  return std::abs(a.curve.line_s(level_of_a, 0.0) - b.curve.line_s(level_of_b, 0.0)) <
         std::min(kSameStart_s + 4.0 * sigma_s, 2e-3);
}

bool same_drift(const TrackState& a, const TrackState& b, double slack_ppm) {
  const double sigma_ppm = 1e6 * std::hypot(a.fit.rate_sigma, b.fit.rate_sigma);
  return std::abs(a.drift_ppm() - b.drift_ppm()) < slack_ppm + 4.0 * sigma_ppm;
}

bool same_recorder(const TrackState& a, const TrackState& b) {
  if (same_length(a, b) && same_drift(a, b, kSameDriftOfSiblings_ppm)) {
    // One of them may not speak before a seam that the other shows.
    for (const Piece& piece : a.pieces)
      for (const Piece& other : b.pieces)
        if (same_start(a, piece.level, b, other.level)) return true;
    return false;
  }
  return same_start(a, a.pieces.front().level, b, b.pieces.front().level) &&
         same_drift(a, b, kSameDrift_ppm);
}

/// The track's own windows allow the other's line too: the sibling that knows its place better
/// decides.
std::optional<std::size_t> better_known_sibling(const std::vector<TrackState>& states,
                                                std::size_t i) {
  const TrackState& state = states[i];
  if (!state.placed) return std::nullopt;
  std::optional<std::size_t> best;
  for (std::size_t j = 0; j < states.size(); ++j) {
    const TrackState& other = states[j];
    if (!other.placed || other.recorder == state.recorder || !look_like_siblings(state, other))
      continue;
    if (other.support() <= 2.0 * state.support()) continue;
    if (!best || other.support() > states[*best].support()) best = j;
  }
  if (!best) return std::nullopt;
  const TrackState& sibling = states[*best];
  int on_line = 0;
  for (const Measured& m : state.measured) {
    const double away_s = m.mix_s - sibling.curve.line_s(sibling.pieces.front().level, m.track_s);
    if (std::abs(away_s) < kSameStart_s + 3.0 * m.sigma_s) ++on_line;
  }
  return on_line >= std::min(2, state.used) ? best : std::nullopt;
}

}  // namespace

bool same_length(const TrackState& a, const TrackState& b) {
  return std::abs(a.length_s - b.length_s) <= kSameLength_s;
}

bool may_share_a_clock(const TrackState& a, const TrackState& b) {
  return same_length(a, b) && same_drift(a, b, kSameDrift_ppm);
}

bool look_like_siblings(const TrackState& a, const TrackState& b) {
  return same_length(a, b) && std::abs(a.start_s() - b.start_s()) <= kSiblingReach_s;
}

void find_recorders(std::vector<TrackState>& states) {
  int recorders = 0;
  for (std::size_t i = 0; i < states.size(); ++i) {
    TrackState& state = states[i];
    state.recorder = -1;
    if (!state.placed) continue;
    for (std::size_t j = 0; j < i && state.recorder < 0; ++j)
      if (states[j].placed && same_recorder(state, states[j])) state.recorder = states[j].recorder;
    if (state.recorder < 0) state.recorder = recorders++;
  }
  // From the best known down, so that a chain of siblings ends with the best.
  std::vector<std::size_t> order(states.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return states[a].support() > states[b].support();
  });
  for (const std::size_t i : order)
    if (const auto sibling = better_known_sibling(states, i))
      states[i].recorder = states[*sibling].recorder;

  std::vector<int> seen;
  for (TrackState& state : states) {
    if (!state.placed) continue;
    const auto known = std::find(seen.begin(), seen.end(), state.recorder);
    const auto number = static_cast<int>(known - seen.begin());
    if (known == seen.end()) seen.push_back(state.recorder);
    state.recorder = number;
  }
}

std::vector<std::vector<std::size_t>> members_of_recorders(const std::vector<TrackState>& states) {
  std::vector<std::vector<std::size_t>> groups;
  for (std::size_t k = 0; k < states.size(); ++k) {
    if (!states[k].placed) continue;
    const auto recorder = static_cast<std::size_t>(states[k].recorder);
    if (groups.size() <= recorder) groups.resize(recorder + 1);
    groups[recorder].push_back(k);
  }
  return groups;
}

bool is_alone_on_its_recorder(const std::vector<TrackState>& states, std::size_t track) {
  for (std::size_t k = 0; k < states.size(); ++k)
    if (k != track && states[k].placed && !states[k].apart &&
        states[k].recorder == states[track].recorder)
      return false;
  return true;
}

std::size_t best_known(const std::vector<TrackState>& states,
                       const std::vector<std::size_t>& members) {
  return *std::max_element(members.begin(), members.end(), [&](std::size_t a, std::size_t b) {
    return states[a].support() < states[b].support();
  });
}

}  // namespace kilter::sync
