#include "seams.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "kilter/base/median.h"
#include "kilter/base/parallel.h"
#include "mix_or_recorder.h"
#include "recorders.h"
#include "seam_lines.h"

namespace kilter::sync {
namespace {

constexpr double kLeastStep_s = 1.0e-3;
constexpr double kSameStep_s = 1.5e-3;
constexpr double kOneAmount_s = 0.5e-3;
constexpr double kAlike_s = 0.1e-3;
constexpr double kLikeTheStep_s = 0.010;
constexpr double kLoudspeaker_s = 0.075;   // and a guest's voice's way out of one
constexpr double kSlack_s = 6.0;           // a window's length
constexpr double kLongestBuffer_s = 0.25;  // a stream's buffer changes by no more than that
constexpr double kSameCut_s = 1e-6;
constexpr double kNearSeam_s = 1e-3;
constexpr double kByLength_s = 1e-3;
constexpr double kOtherwiseShort_s = 0.2;
constexpr double kTrusted = 0.4;  // of the share of its windows that the recorder's best track uses

struct OwnStep {
  std::size_t track{0};
  Step step;
};

bool is_one_event(const Seam& seam, const Step& step) {
  const double away_s = std::abs(seam.step_s - step.step_s);
  const double slack_s = away_s <= kSameStep_s ? kSlack_s : 0.0;
  // A microphone that follows a neighbour between two seams shows them a few milliseconds off.
  const bool alike = away_s <= kSameStep_s ||
                     (away_s <= 2.0 * kNeighbour_s && std::abs(seam.step_s) > 6.0 * kNeighbour_s) ||
                     (away_s <= kNeighbour_s && std::abs(seam.step_s) > 3.0 * kNeighbour_s);
  return alike && step.mix_from_s < seam.mix_to_s + slack_s &&
         step.mix_to_s > seam.mix_from_s - slack_s;
}

/// Keeps what the event and another track's step have in common. Where they do not overlap, the
/// windows that bound them do: the event lies between those windows' middles.
void narrow(const Step& step, Seam& seam) {
  seam.mix_from_s = std::max(seam.mix_from_s, step.mix_from_s);
  seam.mix_to_s = std::min(seam.mix_to_s, step.mix_to_s);
  if (seam.mix_from_s < seam.mix_to_s) return;
  const double middle_s = 0.5 * (seam.mix_from_s + seam.mix_to_s);
  seam.mix_from_s = middle_s - 0.5 * kSlack_s;
  seam.mix_to_s = middle_s + 0.5 * kSlack_s;
}

/// Of an even number the lower of the two in the middle.
double lower_median(std::vector<double> values) {
  const std::size_t middle = (values.size() - 1) / 2;
  return of_rank(std::move(values), middle);
}

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
  for (const Step& step : state.steps)
    if (step.mix_from_s < seam.mix_to_s && step.mix_to_s > seam.mix_from_s &&
        !is_of_another(step, track, seam, events))
      return false;
  bool before = false;
  bool after = false;
  for (std::size_t i = 0; i < state.measured.size(); ++i) {
    if (state.weights[i] <= 0.1) continue;
    // The window that is the last before the seam may reach over it.
    before = before || state.measured[i].at_s <= seam.mix_from_s - 0.5 * kSlack_s;
    after = after || state.measured[i].at_s >= seam.mix_to_s + 0.5 * kSlack_s;
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
    return mix_s > seam.mix_from_s - kSlack_s && mix_s < seam.mix_to_s + kSlack_s;
  };
  return is_there(state.map->spans().front().line_from_s) ||
         is_there(state.map->spans().back().line_to_s);
}

/// A step as small as a voice's way across the room or from its loudspeaker, which a sibling of the
/// same length does not show: the microphone goes over to another's voice.
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

/// The lines of a recorder on both sides of a seam, in the time of one of its tracks.
struct Reference {
  int recorder{-1};
  std::size_t track{0};
  LocalLine before;
  LocalLine after;

  double step_s(double mix_s) const { return after.to_mix(before.to_track(mix_s)) - mix_s; }
};

/// Of several tracks' lines the recorder's: the one nearest the middle where they agree, or most do
/// to a hair. A microphone that follows another's voice hears it late, so that else the earliest is
/// right.
std::size_t choose_line(const std::vector<double>& track_s) {
  const double middle_s = lower_median(track_s);
  std::size_t nearest = 0;
  std::size_t earliest = 0;
  for (std::size_t i = 1; i < track_s.size(); ++i) {
    if (std::abs(track_s[i] - middle_s) < std::abs(track_s[nearest] - middle_s)) nearest = i;
    if (track_s[i] < track_s[earliest]) earliest = i;
  }
  const auto alike = std::count_if(track_s.begin(), track_s.end(), [&](double each_s) {
    return std::abs(each_s - track_s[nearest]) < kAlike_s;
  });
  if (alike > 1 && 2 * alike > std::ssize(track_s)) return nearest;
  const double late_s = middle_s - track_s[earliest];
  return late_s > kSameStep_s && late_s < 2.0 * kNeighbour_s ? earliest : nearest;
}

std::vector<Reference> references_of(const std::vector<TrackState>& states, const Seam& seam) {
  const double middle_s = 0.5 * (seam.mix_from_s + seam.mix_to_s);
  std::vector<int> recorders;
  for (const std::size_t k : seam.tracks)
    if (std::find(recorders.begin(), recorders.end(), states[k].recorder) == recorders.end())
      recorders.push_back(states[k].recorder);
  std::vector<Reference> references;
  for (const int recorder : recorders) {
    std::vector<LocalLine> before;
    std::vector<LocalLine> after;
    std::vector<double> before_s;
    std::vector<double> after_s;
    std::vector<std::size_t> members;
    double best_share = 0.0;
    for (const std::size_t k : seam.tracks)
      if (states[k].recorder == recorder) best_share = std::max(best_share, states[k].used_share);
    for (std::size_t i = 0; i < seam.tracks.size(); ++i) {
      const TrackState& state = states[seam.tracks[i]];
      // One whose line most of its windows contradict has its clock wrong.
      if (state.recorder != recorder || state.used_share < kTrusted * best_share) continue;
      members.push_back(seam.tracks[i]);
      before.push_back(local_line(state.curve, seam.shown[i].level, middle_s));
      after.push_back(local_line(state.curve, seam.shown[i].level + 1, middle_s));
      before_s.push_back(before.back().to_track(middle_s));
      after_s.push_back(after.back().to_track(middle_s));
    }
    const std::size_t chosen = choose_line(before_s);
    references.push_back({recorder, members[chosen], before[chosen], after[choose_line(after_s)]});
  }
  return references;
}

/// The steps that the recorders of a seam's tracks show.
std::vector<double> steps_s(const Seam& seam, const std::vector<TrackState>& states) {
  std::vector<double> steps;
  for (const Reference& reference : references_of(states, seam))
    steps.push_back(reference.step_s(0.5 * (seam.mix_from_s + seam.mix_to_s)));
  return steps;
}

/// Of a seam that is its first track's alone.
SeamCause cause_of_one(const Seam& seam, const std::vector<bool>& remote) {
  return remote[seam.tracks.front()] && std::abs(seam.step_s) <= kLongestBuffer_s
             ? SeamCause::stream
             : SeamCause::track;
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

void judge(Seam seam, const std::vector<Seam>& events, const std::vector<TrackState>& states,
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

/// Places the seam between two seconds of the mix, and lets the place tell more of its cause.
Result<void> place_between(const MixInput& mix, const std::vector<SeamWitness>& witnesses,
                           const std::vector<SteadyTrack>& steady, double from_s, double to_s,
                           Seam& seam) {
  if (witnesses.empty()) return {};
  const double seen_s = seam.seen_s;
  to_s = std::max(from_s, to_s - std::max(0.0, seen_s));
  const bool surely_the_mix = seam.cause == SeamCause::mix && !seam.unsure && !seam.mix_or_recorder;
  const bool may_be_the_mix = seam.cause == SeamCause::mix || seam.mix_or_recorder;
  auto found = place_seam(*mix.signal, witnesses, seen_s, from_s, to_s, steady,
                          surely_the_mix   ? SeamIn::mix
                          : may_be_the_mix ? SeamIn::either
                                           : SeamIn::track);
  if (!found) return found.error();
  seam.place = *found;
  // What stands in the track twice, or as zeros, or amid a word, no stream did.
  if (seam.cause == SeamCause::stream &&
      (found->zeros || (found->repeated && seen_s < 0.0) || (found->in_speech && seen_s > 0.0)))
    seam.cause = SeamCause::track;
  // What the mix lost, every track has too much of; so has one that repeated a stretch. What the
  // mix repeated, no track has.
  const bool tracks_fault = (found->zeros || found->repeated) && seen_s < 0.0 && !surely_the_mix;
  const bool mixs_fault = found->mix_padded || (found->repeated && seen_s > 0.0);
  if (!seam.mix_or_recorder || (seam.cause == SeamCause::stream && !mixs_fault)) return {};
  // Silence of any other length a microphone that is switched off has.
  const double run_s = found->track_from_s - found->track_end_s;
  const bool surely_tracks =
      tracks_fault && (found->repeated || std::abs(run_s + seen_s) < kLikeTheStep_s);
  if (seam.cause == SeamCause::mix && surely_tracks) {
    seam.cause = seam.unless_mix == SeamCause::stream ? SeamCause::track : seam.unless_mix;
    seam.recorder = seam.shown_by;
    seam.mix_or_recorder = seam.unsure = false;
    return {};
  }
  const bool blames_mix = seam.cause == SeamCause::mix;
  seam.unsure = blames_mix ? !mixs_fault : !mixs_fault && !tracks_fault && !seam.others_whole;
  if (mixs_fault || (seen_s < 0.0 && !tracks_fault && !seam.others_whole)) {
    seam.cause = SeamCause::mix;
    seam.recorder = -1;
  }
  return {};
}

/// The track steps in the same gap between windows as the mix or its recorder: before it, or after
/// it, whichever explains more. In between a line holds that no window shows.
Result<void> place_beside(const MixInput& mix, const std::vector<SeamWitness>& witnesses,
                          const Seam& other, double from_s, double to_s, Seam& seam) {
  const double at_s = other.place.mix_end_s;
  std::vector<SeamWitness> late = witnesses;
  std::vector<SeamWitness> early = witnesses;
  for (std::size_t i = 0; i < witnesses.size(); ++i) {
    late[i].before.start_s += seam.others_part_s;
    early[i].after.start_s -= seam.others_part_s;
  }
  const double after_other_s = other.place.mix_from_s;
  seam.seen_s = seam.step_s;
  Seam before = seam;
  if (auto done = place_between(mix, early, {}, std::min(from_s, at_s), at_s, before); !done)
    return done.error();
  if (auto done = place_between(mix, late, {}, after_other_s, std::max(after_other_s, to_s), seam);
      !done)
    return done.error();
  const auto is_itself = [](const SeamPlace& place) { return place.zeros || place.repeated; };
  const bool is_before = is_itself(before.place) != is_itself(seam.place)
                             ? is_itself(before.place)
                             : before.place.over_last > seam.place.over_first;
  // Where hardly any sound speaks against the other end of the gap, it may lie there as well.
  const bool may_be_early = seam.place.over_first < kSyllable_bins * seam.place.speech;
  const bool may_be_late = before.place.over_last < kSyllable_bins * before.place.speech;
  const double earliest_s = before.place.earliest_s;
  const double latest_s = seam.place.latest_s;
  if (is_before) seam = std::move(before);
  if (may_be_early && may_be_late) {
    seam.place.earliest_s = earliest_s;
    seam.place.latest_s = latest_s;
  } else if (may_be_early && !is_before) {
    seam.place.earliest_s = std::min(seam.place.earliest_s, after_other_s);
  } else if (may_be_late && is_before) {
    seam.place.latest_s = std::max(seam.place.latest_s, at_s);
  }
  return {};
}

/// Tracks `beside` step with the mix and by themselves in one gap between windows: before it or
/// after it, whichever explains more. In between they are on a line that no window shows.
Result<void> place_of_mix(const MixInput& mix, const std::vector<SeamWitness>& witnesses,
                          const std::vector<std::size_t>& beside, double from_s, double to_s,
                          Seam& seam) {
  std::vector<SeamWitness> early = witnesses;
  std::vector<SeamWitness> late = witnesses;
  for (const std::size_t w : beside) {
    early[w].before.start_s = witnesses[w].after.start_s - seam.step_s;
    late[w].after.start_s = witnesses[w].before.start_s + seam.step_s;
  }
  Seam after_own = seam;
  if (auto done = place_between(mix, early, {}, from_s, to_s, after_own); !done)
    return done.error();
  if (auto done = place_between(mix, late, {}, from_s, to_s, seam); !done) return done.error();
  if (after_own.place.explained > seam.place.explained) seam = std::move(after_own);
  return {};
}

/// The mix's or the recorder's seam that a track's own shares a gap with.
const Seam* seam_beside(const Seam& own, const std::vector<Seam>& seams) {
  if (!own.in_both || own.others_part_s == 0.0) return nullptr;
  for (const Seam& seam : seams)
    if (seam.in_both && seam.step_s == own.others_part_s) return &seam;
  return nullptr;
}

/// A track through its recorder's lines; through its own where it has lost something alone, which
/// puts it further off than a neighbour's voice would.
SeamWitness witness_of(const Seam& seam, const Reference& reference, std::size_t track,
                       const AnalysisSignal& signal, const TrackState& state) {
  SeamWitness witness{&signal, reference.before, reference.after};
  const auto shown = std::find(seam.tracks.begin(), seam.tracks.end(), track);
  if (shown == seam.tracks.end()) return witness;
  const double middle_s = 0.5 * (seam.mix_from_s + seam.mix_to_s);
  const int level = seam.shown[static_cast<std::size_t>(shown - seam.tracks.begin())].level;
  const LocalLine before = local_line(state.curve, level, middle_s);
  const double away_s = before.to_track(middle_s) - reference.before.to_track(middle_s);
  if (std::abs(away_s) < 2.0 * kNeighbour_s) return witness;
  return {&signal, before, local_line(state.curve, level + 1, middle_s)};
}

Result<void> place(const MixInput& mix, const std::vector<TrackInput>& tracks,
                   const std::vector<TrackState>& states, const std::vector<Seam>& seams,
                   Seam& seam) {
  // All that share the seam testify, also those that do not show it well themselves; but not one
  // that steps by itself in the same gap.
  const bool beside_the_mixs = seam.others_part_s != 0.0;
  const bool shared = seam.cause == SeamCause::mix ||
                      (seam.cause == SeamCause::recorder && (!seam.in_both || beside_the_mixs));
  std::vector<SeamWitness> witnesses;
  std::vector<std::size_t> beside;  // of them
  const std::vector<Reference> references = references_of(states, seam);
  const double middle_s = 0.5 * (seam.mix_from_s + seam.mix_to_s);
  seam.placed_by = references.front().track;
  for (const Reference& reference : references)
    for (std::size_t k = 0; k < states.size(); ++k) {
      const bool testifies = states[k].placed && states[k].recorder == reference.recorder &&
                             !states[k].apart && (shared || shows(seam, k));
      if (!testifies) continue;
      const double away_s = std::abs(reference.step_s(middle_s) - seam.step_s);
      if (seam.cause == SeamCause::mix && away_s > kSameStep_s) beside.push_back(witnesses.size());
      witnesses.push_back(witness_of(seam, reference, k, *tracks[k].signal, states[k]));
      // The place is told in the first one's time.
      if (k == seam.placed_by && beside.empty()) std::swap(witnesses.front(), witnesses.back());
    }
  const double from_s = std::max(0.0, seam.mix_from_s - kHalfWindow_s);
  const double to_s = seam.mix_to_s + kHalfWindow_s;
  if (const Seam* other = seam_beside(seam, seams); other != nullptr && !witnesses.empty())
    return place_beside(mix, witnesses, *other, from_s, to_s, seam);
  if (!beside.empty()) return place_of_mix(mix, witnesses, beside, from_s, to_s, seam);
  std::vector<SteadyTrack> steady;
  for (std::size_t k = 0; k < states.size() && seam.cause != SeamCause::mix; ++k) {
    const bool testifies = std::any_of(references.begin(), references.end(), [&](const auto& r) {
      return states[k].recorder == r.recorder && (shared || shows(seam, k));
    });
    if (!states[k].placed || states[k].apart || testifies) continue;
    if (const auto line = line_through(states[k], from_s, to_s))
      steady.push_back({tracks[k].signal, *line});
  }
  return place_between(mix, witnesses, steady, from_s, to_s, seam);
}

/// Whether the track is heard before the seam and after it.
bool is_heard_round(const TrackState& state, const Seam& seam) {
  bool before = false;
  bool after = false;
  for (std::size_t i = 0; i < state.measured.size(); ++i) {
    if (state.weights[i] <= 0.1) continue;
    before = before || state.measured[i].at_s <= seam.mix_from_s;
    after = after || state.measured[i].at_s >= seam.mix_to_s;
  }
  return before && after;
}

/// Whether other recorders that show the mix's seam alone do so over all of the gap in which a
/// track shows more: then the rest is not the mix's.
bool is_told_apart(const Seam& own, const std::vector<Seam*>& shared,
                   const std::vector<TrackState>& states) {
  if (shared.size() > 1) return false;
  const Seam& mix = *shared.front();
  double from_s = own.mix_to_s;
  double to_s = own.mix_from_s;
  for (std::size_t t = 0; t < mix.tracks.size(); ++t) {
    if (states[mix.tracks[t]].recorder == own.shown_by) continue;
    from_s = std::min(from_s, mix.shown[t].mix_from_s);
    to_s = std::max(to_s, mix.shown[t].mix_to_s);
  }
  // All their gaps hold the mix's seam, and so overlap.
  return from_s <= own.mix_from_s && to_s >= own.mix_to_s;
}

/// Where the mix and a track step together, the track shows the sum: the mix's part, which most
/// tracks show, is taken off, and that of every seam of the mix in one long gap.
void take_off_the_mix(const std::vector<TrackState>& states, const std::vector<bool>& remote,
                      std::vector<Seam>& seams) {
  std::stable_sort(seams.begin(), seams.end(), [](const Seam& a, const Seam& b) {
    if ((a.cause == SeamCause::mix) != (b.cause == SeamCause::mix))
      return a.cause == SeamCause::mix;
    return a.unsure != b.unsure ? b.unsure : a.tracks.size() > b.tracks.size();
  });
  for (std::size_t i = 0; i < seams.size(); ++i) {
    Seam& own = seams[i];
    const auto is_in_gap = [&](const Seam& mix) {
      if (mix.cause != SeamCause::mix || own.mix_from_s >= mix.mix_to_s ||
          own.mix_to_s <= mix.mix_from_s)
        return false;
      return std::none_of(own.tracks.begin(), own.tracks.end(),
                          [&](std::size_t k) { return shows(mix, k); });
    };
    std::vector<Seam*> shared;
    for (std::size_t m = 0; m < i; ++m) {
      if (!is_in_gap(seams[m])) continue;
      if (!shared.empty() && !is_heard_round(states[own.tracks.front()], seams[m])) continue;
      shared.push_back(&seams[m]);
    }
    if (shared.empty()) continue;
    own.unsure = false;
    for (Seam* mix : shared) {
      own.step_s -= mix->step_s;
      own.others_part_s += mix->step_s;
      own.unsure = own.unsure || mix->unsure;
    }
    if (own.cause == SeamCause::mix) {
      own.cause = own.mix_or_recorder     ? own.unless_mix
                  : own.tracks.size() > 1 ? SeamCause::recorder
                                          : cause_of_one(own, remote);
      own.recorder = own.shown_by;
    }
    // Another recorder that shows the mix's part alone, over all of that gap, tells whose the rest
    // is.
    if (is_told_apart(own, shared, states)) own.mix_or_recorder = false;
    own.in_both = true;
    for (Seam* mix : shared) {
      mix->in_both = mix->in_both || std::abs(own.step_s) >= kLeastStep_s;
      mix->tracks.insert(mix->tracks.end(), own.tracks.begin(), own.tracks.end());
      mix->shown.insert(mix->shown.end(), own.shown.begin(), own.shown.end());
    }
  }
  seams.erase(std::remove_if(seams.begin(), seams.end(),
                             [](const Seam& seam) { return std::abs(seam.step_s) < kLeastStep_s; }),
              seams.end());
}

/// Where a track loses something of its own and its recorder does, and no window lies between, the
/// track shows the sum: the recorder's part is taken off.
void take_off_the_recorder(const std::vector<TrackState>& states, std::vector<Seam>& seams) {
  for (Seam& own : seams) {
    if (own.cause != SeamCause::track || own.in_both || own.tracks.size() != 1) continue;
    const TrackState& state = states[own.tracks.front()];
    for (Seam& shared : seams) {
      if (shared.cause != SeamCause::recorder || shared.in_both ||
          shared.recorder != state.recorder || shows(shared, own.tracks.front()) ||
          own.mix_from_s >= shared.mix_to_s || own.mix_to_s <= shared.mix_from_s ||
          !is_heard_round(state, shared))
        continue;
      own.step_s -= shared.step_s;
      own.others_part_s = shared.step_s;
      own.in_both = shared.in_both = true;
      break;
    }
  }
}

bool is_own(const Seam& seam, std::size_t track) {
  return (seam.cause == SeamCause::track || seam.cause == SeamCause::stream) && shows(seam, track);
}

/// The piece of the track that ends at the cut.
std::optional<std::size_t> cut_at(const TrackState& state, const TrackCut& cut) {
  for (std::size_t p = 0; p + 1 < state.pieces.size(); ++p)
    if (std::abs(state.pieces[p].to_s - cut.end_s) < kSameCut_s &&
        std::abs(state.pieces[p + 1].from_s - cut.from_s) < kSameCut_s)
      return p;
  return std::nullopt;
}

/// The clocks on both sides of a seam, as all have been fitted since, and how far it may move.
struct Sides {
  std::vector<SeamWitness> witnesses;
  std::vector<std::size_t> tracks;  // theirs
  std::vector<SteadyTrack> steady;
  double from_s{0.0};
  double to_s{0.0};
};

Sides sides_of(const std::vector<Seam>& seams, const Seam& seam,
               const std::vector<TrackInput>& tracks, const std::vector<TrackState>& states,
               const std::vector<Span>& mix_spans, double mix_length_s) {
  Sides sides;
  sides.from_s = std::max(0.0, seam.mix_from_s - kHalfWindow_s);
  sides.to_s = std::min(mix_length_s, seam.mix_to_s + kHalfWindow_s);
  // What the mix's time is late against the timeline, on either side.
  const auto shift_s = [&](double mix_s) { return mix_s - to_timeline(mix_spans, mix_s); };
  const double before_s = shift_s(std::max(0.0, seam.place.mix_end_s - kNearSeam_s));
  const double after_s = shift_s(std::min(mix_length_s, seam.place.mix_from_s + kNearSeam_s));
  const auto line_of = [&](const TrackState& state, int level, double late_s) {
    const double line_s = to_timeline(mix_spans, seam.place.mix_end_s);
    LocalLine line = local_line(state.curve, level, line_s);
    line.start_s += late_s;
    return line;
  };
  for (std::size_t k = 0; k < states.size(); ++k) {
    const TrackState& state = states[k];
    if (!state.placed || state.apart) continue;
    const double line_s = to_timeline(mix_spans, seam.place.mix_end_s);
    const Piece* before = nullptr;
    const Piece* after = nullptr;
    if (seam.cause == SeamCause::mix) {
      for (const Piece& piece : state.pieces)
        if (state.curve.line_s(piece.level, piece.from_s) < line_s - kNearSeam_s &&
            state.curve.line_s(piece.level, piece.to_s) > line_s + kNearSeam_s)
          before = after = &piece;
    } else if (const auto cut = cut_at(state, cut_of(seams, seam, k, state.curve.rate))) {
      before = &state.pieces[*cut];
      after = before + 1;
    }
    if (before == nullptr && seam.cause != SeamCause::mix)
      for (const Piece& piece : state.pieces)
        if (state.curve.line_s(piece.level, piece.from_s) < line_s &&
            state.curve.line_s(piece.level, piece.to_s) > line_s)
          sides.steady.push_back({tracks[k].signal, line_of(state, piece.level, before_s)});
    if (before == nullptr) continue;
    sides.tracks.push_back(k);
    sides.witnesses.push_back({tracks[k].signal, line_of(state, before->level, before_s),
                               line_of(state, after->level, after_s)});
    if (before == after) continue;
    // It may not move over its neighbours.
    const SeamWitness& witness = sides.witnesses.back();
    sides.from_s = std::max(sides.from_s, witness.before.to_mix(before->from_s));
    sides.to_s = std::min(sides.to_s, witness.after.to_mix(after->to_s));
  }
  return sides;
}

void move_cut(const TrackCut& from, const TrackCut& to, TrackState& state) {
  const auto cut = cut_at(state, from);
  if (!cut) return;
  Piece& before = state.pieces[*cut];
  Piece& after = state.pieces[*cut + 1];
  before.to_s = std::clamp(to.end_s, before.from_s, after.to_s);
  after.from_s = std::clamp(to.from_s, before.to_s, after.to_s);
}

}  // namespace

bool shows(const Seam& seam, std::size_t track) {
  return std::find(seam.tracks.begin(), seam.tracks.end(), track) != seam.tracks.end();
}

double own_loss_s(const std::vector<Seam>& seams, const Seam& seam, std::size_t track) {
  double loss_s = 0.0;
  for (const Seam& earlier : seams) {
    if (&earlier == &seam) break;
    if (is_own(earlier, track)) loss_s += earlier.step_s;
  }
  return loss_s;
}

TrackCut cut_of(const std::vector<Seam>& seams, const Seam& seam, std::size_t track, double rate) {
  const double earlier_s =
      (own_loss_s(seams, seam, track) - own_loss_s(seams, seam, seam.placed_by)) / rate;
  return {seam.place.track_end_s - earlier_s, seam.place.track_from_s - earlier_s};
}

namespace {

/// Whether a track that is heard in between shows two events of which `sum` is both at once.
bool is_both(const Seam& sum, const Seam& a, const Seam& b) {
  const auto is_within = [&](const Seam& part) {
    return part.mix_from_s >= sum.mix_from_s - kSlack_s && part.mix_to_s <= sum.mix_to_s + kSlack_s;
  };
  return std::abs(a.step_s + b.step_s - sum.step_s) <= kSameStep_s && is_within(a) &&
         is_within(b) && std::any_of(a.tracks.begin(), a.tracks.end(), [&](std::size_t k) {
           return shows(b, k) && !shows(sum, k);
         });
}

/// Drops what is two other events at once: those who show it vouch for both.
void take_sums_apart(std::vector<Seam>& events) {
  for (std::size_t sum = events.size(); sum-- > 0;) {
    bool apart = false;
    for (std::size_t a = 0; a < events.size() && !apart; ++a)
      for (std::size_t b = a + 1; b < events.size() && !apart; ++b) {
        if (a == sum || b == sum || !is_both(events[sum], events[a], events[b])) continue;
        apart = true;
        for (const std::size_t part : {a, b}) {
          Seam& seam = events[part];
          const Seam& both = events[sum];
          seam.also.insert(seam.also.end(), both.tracks.begin(), both.tracks.end());
          seam.also_shown.insert(seam.also_shown.end(), both.shown.begin(), both.shown.end());
        }
      }
    if (apart) events.erase(events.begin() + static_cast<std::ptrdiff_t>(sum));
  }
}

/// Recorders that show the mix's seam and another at once, and neither alone, show it as well.
void join_the_others(const std::vector<TrackState>& states, std::vector<Seam>& seams) {
  for (Seam& seam : seams) {
    if (seam.cause != SeamCause::mix) continue;
    const std::vector<std::size_t> alone = seam.tracks;
    for (std::size_t i = 0; i < seam.also.size(); ++i) {
      const std::size_t k = seam.also[i];
      if (std::any_of(alone.begin(), alone.end(), [&](std::size_t other) {
            return states[other].recorder == states[k].recorder;
          }))
        continue;
      seam.tracks.push_back(k);
      seam.shown.push_back(seam.also_shown[i]);
    }
  }
}

}  // namespace

std::vector<Seam> gather_seams(const std::vector<TrackState>& states,
                               const std::vector<bool>& remote) {
  std::vector<OwnStep> steps;
  for (std::size_t k = 0; k < states.size(); ++k)
    if (states[k].placed)
      for (const Step& step : states[k].steps)
        if (remote[k] || !follows_a_neighbour(step, k, states)) steps.push_back({k, step});
  std::stable_sort(steps.begin(), steps.end(), [](const OwnStep& a, const OwnStep& b) {
    return a.step.mix_to_s - a.step.mix_from_s < b.step.mix_to_s - b.step.mix_from_s;
  });
  std::vector<Seam> events;
  for (const OwnStep& own : steps) {
    const auto known = std::find_if(events.begin(), events.end(), [&](const Seam& seam) {
      return is_one_event(seam, own.step) && !shows(seam, own.track);
    });
    if (known == events.end()) {
      Seam seam;
      seam.tracks = {own.track};
      seam.mix_from_s = own.step.mix_from_s;
      seam.mix_to_s = own.step.mix_to_s;
      seam.step_s = own.step.step_s;
      seam.shown = {own.step};
      events.push_back(std::move(seam));
      continue;
    }
    known->tracks.push_back(own.track);
    known->shown.push_back(own.step);
    std::vector<double> sizes_s;
    for (const Step& step : known->shown) sizes_s.push_back(step.step_s);
    known->step_s = lower_median(std::move(sizes_s));
    narrow(own.step, *known);
  }
  take_sums_apart(events);
  std::vector<Seam> seams;
  for (const Seam& event : events) judge(event, events, states, remote, seams);
  join_the_others(states, seams);
  take_off_the_mix(states, remote, seams);
  take_off_the_recorder(states, seams);
  std::stable_sort(seams.begin(), seams.end(), [](const Seam& a, const Seam& b) {
    return a.mix_from_s + a.mix_to_s < b.mix_from_s + b.mix_to_s;
  });
  return seams;
}

Result<void> place_seams(const MixInput& mix, const std::vector<TrackInput>& tracks,
                         const std::vector<TrackState>& states, int threads,
                         std::vector<Seam>& seams) {
  // The mix's first, then the recorders': they tell where a track's own may lie beside them.
  const auto turn_of = [](const Seam& seam) {
    if (seam.cause == SeamCause::mix) return 0;
    return seam.in_both && seam.others_part_s != 0.0 ? 2 : 1;
  };
  for (const int turn : {0, 1, 2}) {
    std::vector<std::optional<Error>> errors(seams.size());
    std::vector<Seam> placed = seams;
    parallel_for(static_cast<int>(seams.size()), threads, [&](int i) {
      const auto at = static_cast<std::size_t>(i);
      if (turn_of(seams[at]) != turn) return;
      Seam& seam = placed[at];
      auto done = hear_the_others(mix, tracks, states, seam);
      if (done) done = place(mix, tracks, states, seams, seam);
      if (!done) {
        errors[at] = done.error();
        return;
      }
      if (seam.cause != SeamCause::mix || !seam.mix_or_recorder || seam.step_s <= 0.0) return;
      const auto filled = is_filled_by_others(mix, tracks, states, seam);
      if (!filled) {
        errors[at] = filled.error();
      } else if (*filled) {
        seam.cause = seam.unless_mix;
        seam.recorder = seam.shown_by;
        seam.mix_or_recorder = seam.unsure = false;
      }
    });
    for (const auto& error : errors)
      if (error) return *error;
    seams = std::move(placed);
  }
  std::stable_sort(seams.begin(), seams.end(), [](const Seam& a, const Seam& b) {
    return a.place.mix_end_s < b.place.mix_end_s;
  });
  return {};
}

Result<void> place_seams_again(const MixInput& mix, const std::vector<TrackInput>& tracks,
                               int threads, std::vector<Span>& mix_spans, std::vector<Seam>& seams,
                               std::vector<TrackState>& states) {
  std::vector<std::optional<Error>> errors(seams.size());
  std::vector<Seam> moved = seams;
  parallel_for(static_cast<int>(seams.size()), threads, [&](int i) {
    const auto at = static_cast<std::size_t>(i);
    const Sides sides = sides_of(seams, seams[at], tracks, states, mix_spans, mix.length_s);
    Seam& seam = moved[at];
    if (sides.witnesses.empty() || seam.in_both) return;
    const double middle_s = seams[at].place.mix_end_s;
    const SeamWitness& best = sides.witnesses.front();
    const double track_s = best.before.to_track(middle_s);
    seam.seen_s = best.after.to_mix(track_s) - best.before.to_mix(track_s);
    seam.step_s = seam.seen_s;
    const double slack_s = seam.cause == SeamCause::recorder ? kNeighbour_s : kSameStep_s;
    if (std::abs(seam.seen_s - seams[at].seen_s) > slack_s) {
      seam = seams[at];
      return;
    }
    seam.placed_by = sides.tracks.front();
    if (seam.cause == SeamCause::mix && seam.mix_or_recorder) {
      std::vector<SeamWitness> others;
      for (std::size_t w = 0; w < sides.witnesses.size(); ++w)
        if (states[sides.tracks[w]].recorder != seam.shown_by) others.push_back(sides.witnesses[w]);
      const auto confirmed =
          bear_out(mix, others, seam.seen_s, sides.from_s, sides.to_s, Side::both);
      if (!confirmed) {
        errors[at] = confirmed.error();
        return;
      }
      if (*confirmed) seam.mix_or_recorder = seam.unsure = false;
    }
    if (auto done =
            place_between(mix, sides.witnesses, sides.steady, sides.from_s, sides.to_s, seam);
        !done)
      errors[at] = done.error();
    // The tracks have been cut for the first verdict.
    const bool blames_mix = seams[at].cause == SeamCause::mix;
    if ((seam.cause == SeamCause::mix) != blames_mix) {
      seam.cause = seams[at].cause;
      seam.recorder = seams[at].recorder;
      seam.unsure = true;
    }
  });
  for (const auto& error : errors)
    if (error) return *error;
  for (std::size_t i = 0; i < seams.size(); ++i)
    for (std::size_t k = 0; k < states.size() && seams[i].cause != SeamCause::mix; ++k)
      if (states[k].placed)
        move_cut(cut_of(seams, seams[i], k, states[k].curve.rate),
                 cut_of(moved, moved[i], k, states[k].curve.rate), states[k]);
  seams = std::move(moved);
  std::stable_sort(seams.begin(), seams.end(), [](const Seam& a, const Seam& b) {
    return a.place.mix_end_s < b.place.mix_end_s;
  });
  mix_spans = mix_spans_of(seams, mix.length_s);
  return {};
}

std::vector<Span> mix_spans_of(const std::vector<Seam>& seams, double mix_length_s) {
  std::vector<Span> spans;
  double from_s = 0.0;
  double line_s = 0.0;
  for (const Seam& seam : seams) {
    if (seam.cause != SeamCause::mix) continue;
    const double end_s = std::clamp(seam.place.mix_end_s, from_s, mix_length_s);
    // Worked out once: spans that meet must not overlap by a rounding.
    const double line_end_s = line_s + (end_s - from_s);
    if (end_s > from_s) spans.push_back({from_s, end_s, line_s, line_end_s, 0.0});
    line_s = line_end_s + std::max(0.0, -seam.step_s);
    from_s = end_s + std::max(0.0, seam.step_s);
  }
  if (from_s < mix_length_s)
    spans.push_back({from_s, mix_length_s, line_s, line_s + (mix_length_s - from_s), 0.0});
  return spans;
}

double to_timeline(const std::vector<Span>& mix_spans, double mix_s) {
  const Span* best = &mix_spans.front();
  for (const Span& span : mix_spans)
    if (span.from_s <= mix_s) best = &span;
  const bool last = best == &mix_spans.back();
  const double inside_s = last ? mix_s : std::min(mix_s, best->to_s);
  return best->line_from_s + (inside_s - best->from_s);
}

bool is_on_timeline(const std::vector<Span>& mix_spans, double mix_s) {
  return std::any_of(mix_spans.begin(), mix_spans.end(),
                     [&](const Span& span) { return mix_s >= span.from_s && mix_s <= span.to_s; });
}

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
