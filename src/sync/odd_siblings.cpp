#include "odd_siblings.h"

#include <algorithm>
#include <cmath>

#include "recorders.h"

namespace kilter::sync {
namespace {

constexpr double kOddLeast_s = 0.010;  // of two lengths that ought to be the same
constexpr double kPadding_s = 0.06;    // by which a lossy codec may lengthen a file
constexpr double kUnheardEnd_s = 7.0;  // windows of the fine pass lie 6 s apart
constexpr double kUnheardStart_s = 7.0;
constexpr double kNearStart_s = 1.0;
constexpr double kKnownDrift = 0.25e-6;
constexpr double kSameDrift = 0.1e-6;
constexpr double kEndTogether_s = 1e-3;
constexpr double kOddStep_s = 0.5e-3;

/// The others of its recorder that begin within so much of it.
std::vector<std::size_t> siblings_beside(const Evidence& evidence, std::size_t track,
                                         double within_s) {
  const TrackState& state = evidence.states[track];
  std::vector<std::size_t> siblings;
  for (std::size_t j = 0; j < evidence.states.size(); ++j) {
    const TrackState& other = evidence.states[j];
    if (j != track && other.placed && !other.apart && other.recorder == state.recorder &&
        std::abs(other.start_s() - state.start_s()) <= within_s)
      siblings.push_back(j);
  }
  return siblings;
}

}  // namespace

std::optional<std::size_t> unlike_sibling(const std::vector<TrackState>& states, std::size_t k) {
  int alike = 0;
  int unlike = 0;
  std::optional<std::size_t> first;
  for (std::size_t j = 0; j < states.size(); ++j) {
    if (!states[j].placed || !look_like_siblings(states[j], states[k])) continue;
    if (states[j].recorder == states[k].recorder) {
      ++alike;
      continue;
    }
    ++unlike;
    if (!first) first = j;
  }
  return unlike >= alike ? first : std::nullopt;
}

std::optional<std::size_t> sibling_with_a_seam(const std::vector<TrackState>& states,
                                               std::size_t k) {
  for (std::size_t j = 0; j < states.size(); ++j)
    if (states[j].placed && states[j].recorder != states[k].recorder &&
        same_length(states[j], states[k]) &&
        (std::max(states[j].pieces.size(), states[k].pieces.size()) > 1 ||
         (may_share_a_clock(states[j], states[k]) && !look_like_siblings(states[j], states[k]))))
      return j;
  return std::nullopt;
}

double furthest_start_s(const TrackState& a, const TrackState& b) {
  double furthest_s = 0.0;
  for (const Piece& of_a : a.pieces)
    for (const Piece& of_b : b.pieces)
      furthest_s = std::max(
          furthest_s, std::abs(a.curve.line_s(of_a.level, 0.0) - b.curve.line_s(of_b.level, 0.0)));
  return furthest_s;
}

std::optional<StraySibling> sibling_with_strays(const Evidence& evidence, std::size_t k) {
  const std::vector<TrackState>& states = evidence.states;
  for (std::size_t j = 0; j < states.size(); ++j) {
    if (j == k || !states[j].placed || states[j].recorder != states[k].recorder ||
        !same_length(states[j], states[k]))
      continue;
    auto part = first_stray(states[j]);
    if (!part) part = first_stray_window(evidence, j);
    if (part) return StraySibling{j, *part};
  }
  return std::nullopt;
}

std::optional<OddLength> odd_length(const Evidence& evidence, std::size_t track) {
  const TrackState& state = evidence.states[track];
  std::optional<OddLength> odd;
  for (const std::size_t j : siblings_beside(evidence, track, kNeighbour_s)) {
    const double longer_s = state.length_s - evidence.states[j].length_s +
                            own_loss_s(evidence.seams, track) - own_loss_s(evidence.seams, j);
    const bool padded = evidence.tracks[track].lossy || evidence.tracks[j].lossy;
    if (std::abs(longer_s) < (padded ? kPadding_s : kOddLeast_s)) return std::nullopt;
    if (!odd && std::abs(longer_s) < kFarthest_s) odd = OddLength{j, longer_s};
  }
  if (!odd || unheard_end_s(state) < kUnheardEnd_s) return std::nullopt;
  return odd;
}

std::optional<OddLength> odd_step(const Evidence& evidence, std::size_t track) {
  const TrackState& state = evidence.states[track];
  double lost_s = 0.0;
  bool steps = false;
  for (const Seam& seam : evidence.seams) {
    if (!is_own(seam, track) || seam.cause != SeamCause::track) continue;
    steps = true;
    lost_s += seam.step_s / state.curve.rate;
  }
  if (!steps || evidence.tracks[track].lossy) return std::nullopt;
  std::optional<OddLength> odd;
  for (const std::size_t j : siblings_beside(evidence, track, kEndTogether_s)) {
    if (evidence.tracks[j].lossy || own_loss_s(evidence.seams, j) != 0.0) continue;
    const double longer_s = state.length_s - evidence.states[j].length_s + lost_s;
    if (std::abs(longer_s) < kOddStep_s) return std::nullopt;
    if (std::abs(longer_s) < kNeighbour_s) odd = OddLength{j, longer_s};
  }
  return odd;
}

std::optional<OddStart> odd_start(const Evidence& evidence, std::size_t track) {
  const TrackState& state = evidence.states[track];
  if (unheard_start_s(state) < kUnheardStart_s || evidence.tracks[track].lossy) return std::nullopt;
  const auto siblings = [&](int recorder) {
    return std::count_if(evidence.states.begin(), evidence.states.end(), [&](const auto& other) {
      return other.placed && other.recorder == recorder;
    });
  };
  for (std::size_t j = 0; j < evidence.states.size(); ++j) {
    const TrackState& other = evidence.states[j];
    if (j == track || !other.placed || other.apart || other.recorder == state.recorder ||
        evidence.tracks[j].lossy || siblings(other.recorder) < siblings(state.recorder))
      continue;
    const double slope_sigma = state.fit.rate_sigma + other.fit.rate_sigma;
    if (std::abs(state.curve.rate - other.curve.rate) >= kSameDrift + 4.0 * slope_sigma) continue;
    const double longer_s = state.length_s - other.length_s;
    const double ends_s = state.curve.line_s(state.pieces.back().level, state.length_s) -
                          other.curve.line_s(other.pieces.back().level, other.length_s);
    if (std::abs(ends_s) < kEndTogether_s && std::abs(longer_s) >= kOddLeast_s &&
        std::abs(longer_s) < kFarthest_s)
      return OddStart{j, longer_s, true};
    // Whose end was cut too, or trimmed.
    const double later_s = state.start_s() - other.start_s();
    if (siblings(other.recorder) > 1 && slope_sigma < kKnownDrift &&
        std::abs(later_s) >= kOddLeast_s && std::abs(later_s) < kNearStart_s)
      return OddStart{j, -later_s, false};
  }
  return std::nullopt;
}

}  // namespace kilter::sync
