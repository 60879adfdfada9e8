#include "passing_voices.h"

#include <algorithm>
#include <cmath>

#include "track_fit.h"

namespace kilter::sync {
namespace {

constexpr double kPassing_s = 10.0;

bool has_sibling(const std::vector<TrackState>& states, std::size_t k) {
  for (std::size_t j = 0; j < states.size(); ++j)
    if (j != k && states[j].placed && !states[j].apart && states[j].recorder == states[k].recorder)
      return true;
  return false;
}

/// Whether what stands between two steps in a row is a neighbour's voice.
bool is_passing(const Step& first, const Step& second) {
  const double lesser_s = std::min(std::abs(first.step_s), std::abs(second.step_s));
  const double larger_s = std::max(std::abs(first.step_s), std::abs(second.step_s));
  return second.mix_from_s - first.mix_to_s < kPassing_s && lesser_s < kNeighbour_s &&
         larger_s > 2.0 * kNeighbour_s;
}

void merge_with_next(TrackState& state, std::size_t at) {
  Step& first = state.steps[at];
  const Step& second = state.steps[at + 1];
  for (std::size_t i = 0; i < state.measured.size(); ++i)
    if (state.measured[i].at_s >= first.mix_to_s && state.measured[i].at_s <= second.mix_from_s)
      state.weights[i] = 0.0;
  state.curve.start_s.erase(state.curve.start_s.begin() + second.level);
  first.mix_to_s = second.mix_to_s;
  first.step_s += second.step_s;
  state.steps.erase(state.steps.begin() + static_cast<std::ptrdiff_t>(at) + 1);
  for (std::size_t i = at + 1; i < state.steps.size(); ++i) --state.steps[i].level;
}

}  // namespace

void leave_out_passing_voices(const std::vector<bool>& remote, std::vector<TrackState>& states) {
  for (std::size_t k = 0; k < states.size(); ++k) {
    TrackState& state = states[k];
    if (!state.placed || state.apart || remote[k] || !has_sibling(states, k)) continue;
    bool merged = false;
    for (std::size_t i = 0; i + 1 < state.steps.size();) {
      if (!is_passing(state.steps[i], state.steps[i + 1])) {
        ++i;
        continue;
      }
      merge_with_next(state, i);
      merged = true;
    }
    if (merged) cut_half_way(state);
  }
}

}  // namespace kilter::sync
