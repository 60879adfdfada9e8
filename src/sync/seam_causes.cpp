#include "seam_causes.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "kilter/base/median.h"
#include "recorders.h"
#include "seam_lines.h"

namespace kilter::sync {
namespace {

constexpr double kOneAmount_s = 0.5e-3;
constexpr double kLoudspeaker_s = 0.075;  // and a guest's voice's way out of one
constexpr double kByLength_s = 1e-3;
constexpr double kSteepPpm = 150.0;  // so fast hardly a clock drifts
constexpr double kOtherwiseShort_s = 0.2;

/// Whether a track's step belongs to another event, one that all tracks of this one show as well.
bool is_of_another(const Step& step, std::size_t track, const Seam& seam,
                   const std::vector<Seam>& events) {
  return std::any_of(events.begin(), events.end(), [&](const Seam& other) {
    for (std::size_t i = 0; i < other.tracks.size(); ++i)
      if (other.tracks[i] == track && other.shown[i].mix_from_s == step.mix_from_s)
        return std::all_of(seam.tracks.begin(), seam.tracks.end(),
                           [&](std::size_t k) { return shows(other, k); });
    return false;
  });
}

/// Whether the track is heard before and after, on one level but for what else happens there.
bool runs_through(const std::vector<TrackState>& states, std::size_t track, const Seam& seam,
                  const std::vector<Seam>& events) {
  const TrackState& state = states[track];
  if (std::abs(state.drift_ppm()) > kSteepPpm) return false;  // a step may hide in it
  for (const Step& step : state.steps)
    if (step.mix_from_s < seam.mix_to_s && step.mix_to_s > seam.mix_from_s &&
        !is_of_another(step, track, seam, events))
      return false;
  bool before = false;
  bool after = false;
  for (std::size_t i = 0; i < state.measured.size(); ++i) {
    if (state.weights[i] <= 0.1) continue;
    // The window that is the last before the seam may reach over it.
    before = before || state.measured[i].at_s <= seam.mix_from_s - 0.5 * kSeamSlack_s;
    after = after || state.measured[i].at_s >= seam.mix_to_s + 0.5 * kSeamSlack_s;
  }
  return before && after;
}

/// Whether a track of the same recorder is as long, so that neither lost anything alone, or differs
/// by far more than a step as long as a voice's way across the room.
bool says_nothing_of(const Step& step, const TrackState& sibling, const TrackState& own) {
  const double differ_s = std::abs(sibling.length_s - own.length_s);
  return same_length(sibling, own) ||
         (std::abs(step.step_s) < kNeighbour_s && differ_s > kOtherwiseShort_s);
}

/// Whether a track begins or ends there: neighbours alone hear that person beyond.
bool begins_or_ends(const TrackState& state, const Seam& seam) {
  const auto is_there = [&](double mix_s) {
    return mix_s > seam.mix_from_s - kSeamSlack_s && mix_s < seam.mix_to_s + kSeamSlack_s;
  };
  return is_there(state.map->spans().front().line_from_s) ||
         is_there(state.map->spans().back().line_to_s);
}

/// What the other tracks say of one seam.
struct Witnesses {
  int recorders{0};                  // that show it
  bool another_runs_through{false};  // a track of another recorder
  bool sibling_runs_through{false};
  int siblings{0};
  int others{0};           // placed tracks of other recorders
  bool same_length{true};  // as its siblings: had it lost something alone, it would be shorter
};

Witnesses witnesses_of(const Seam& seam, const std::vector<TrackState>& states,
                       const std::vector<Seam>& events) {
  Witnesses w;
  std::vector<int> recorders;
  for (const std::size_t k : seam.tracks)
    if (std::find(recorders.begin(), recorders.end(), states[k].recorder) == recorders.end())
      recorders.push_back(states[k].recorder);
  std::vector<int> all = recorders;
  for (const std::size_t k : seam.also)
    if (std::find(all.begin(), all.end(), states[k].recorder) == all.end())
      all.push_back(states[k].recorder);
  w.recorders = static_cast<int>(all.size());
  const TrackState& first = states[seam.tracks.front()];
  for (std::size_t k = 0; k < states.size(); ++k) {
    if (!states[k].placed || states[k].apart || shows(seam, k)) continue;
    const bool sibling =
        std::find(recorders.begin(), recorders.end(), states[k].recorder) != recorders.end();
    if (sibling) {
      ++w.siblings;
      w.same_length = w.same_length && same_length(states[k], first);
    }
    if (!sibling) ++w.others;
    if (!runs_through(states, k, seam, events)) continue;
    (sibling ? w.sibling_runs_through : w.another_runs_through) = true;
  }
  return w;
}

/// One seam per track of `seam`, each its own.
void split(const Seam& seam, const std::vector<bool>& remote, std::vector<Seam>& out) {
  for (std::size_t i = 0; i < seam.tracks.size(); ++i) {
    const std::size_t k = seam.tracks[i];
    Seam own = seam;
    own.tracks = {k};
    own.shown = {seam.shown[i]};
    own.step_s = own.seen_s = seam.shown[i].step_s;
    own.cause = cause_of_one(own, remote);
    out.push_back(std::move(own));
  }
}

/// Whether the track is shorter than one beside it on its recorder by just what it lost, or longer
/// by what it repeats: a recorder ends all its files together.
bool length_tells(const Seam& seam, const std::vector<TrackState>& states) {
  if (seam.tracks.size() != 1) return false;
  const TrackState& own = states[seam.tracks.front()];
  double all_s = 0.0;
  for (const Step& step : own.steps) all_s += step.step_s;
  const double at_s = own.curve.line_s(own.pieces.front().level, 0.0);
  for (std::size_t k = 0; k < states.size(); ++k) {
    const TrackState& other = states[k];
    if (k == seam.tracks.front() || !other.placed || other.recorder != own.recorder ||
        !other.steps.empty() || std::abs(other.start_s() - at_s) > kNeighbour_s)
      continue;
    const double longer_s = own.curve.rate * (other.length_s - own.length_s);
    for (const double step_s : {seam.shown.front().step_s, all_s})
      if (std::abs(longer_s - step_s) < kByLength_s) return true;
  }
  return false;
}

}  // namespace

bool follows_a_neighbour(const Step& step, std::size_t track,
                         const std::vector<TrackState>& states) {
  if (std::abs(step.step_s) > kLoudspeaker_s) return false;
  Seam seam;
  seam.mix_from_s = step.mix_from_s;
  seam.mix_to_s = step.mix_to_s;
  for (std::size_t k = 0; k < states.size(); ++k)
    if (k != track && states[k].placed && !states[k].apart &&
        states[k].recorder == states[track].recorder &&
        says_nothing_of(step, states[k], states[track]) && runs_through(states, k, seam, {}))
      return true;
  for (std::size_t k = 0; k < states.size(); ++k)
    if (k != track && states[k].placed && !states[k].apart &&
        std::abs(step.step_s) < kNeighbour_s && begins_or_ends(states[k], seam))
      return true;
  return false;
}

SeamCause cause_of_one(const Seam& seam, const std::vector<bool>& remote) {
  return remote[seam.tracks.front()] && std::abs(seam.step_s) <= kLongestBuffer_s
             ? SeamCause::stream
             : SeamCause::track;
}

void judge_event(Seam seam, const std::vector<Seam>& events, const std::vector<TrackState>& states,
                 const std::vector<bool>& remote, std::vector<Seam>& out) {
  const Witnesses w = witnesses_of(seam, states, events);
  const std::vector<double> steps = steps_s(seam, states);
  seam.step_s = seam.seen_s = lower_median(steps);
  seam.recorder = seam.shown_by = states[seam.tracks.front()].recorder;
  const bool everybody = !w.another_runs_through && !w.sibling_runs_through;
  if (w.recorders > 1 && !everybody) {
    split(seam, remote, out);
    return;
  }
  const bool whole_recorder =
      !w.sibling_runs_through && (seam.tracks.size() > 1 || (w.siblings > 0 && w.same_length));
  if (length_tells(seam, states)) {
    split(seam, remote, out);
    return;
  }
  // A microphone that goes over to a neighbour's voice, where nobody else is there to say so.
  const bool may_follow = seam.tracks.size() == 1 && !remote[seam.tracks.front()] &&
                          std::abs(seam.step_s) < kNeighbour_s;
  if (everybody && w.others > 0 && may_follow) return;
  if (w.recorders > 1 || (everybody && w.others > 0)) {
    // Nobody stays whole. With another recorder's track on the same step it is the mix; where the
    // others step by other amounts just then, that is still the likeliest.
    // Recorders that show it by different amounts do not tell how much the mix moved.
    seam.unsure = w.recorders == 1 || std::any_of(steps.begin(), steps.end(), [&](double step_s) {
                    return std::abs(step_s - seam.step_s) > kOneAmount_s;
                  });
    seam.mix_or_recorder = w.recorders == 1;
    seam.unless_mix = whole_recorder ? SeamCause::recorder : cause_of_one(seam, remote);
    seam.cause = SeamCause::mix;
    seam.recorder = -1;
    out.push_back(std::move(seam));
    return;
  }
  if (!whole_recorder && (seam.tracks.size() > 1 || w.siblings > 0)) {
    split(seam, remote, out);
    return;
  }
  seam.cause = whole_recorder ? SeamCause::recorder : cause_of_one(seam, remote);
  seam.mix_or_recorder = w.others == 0;
  out.push_back(std::move(seam));
}

}  // namespace kilter::sync
