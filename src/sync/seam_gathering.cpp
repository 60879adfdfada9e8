#include "seam_gathering.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "kilter/base/median.h"
#include "seam_causes.h"

namespace kilter::sync {
namespace {

constexpr double kLeastStep_s = 1.0e-3;

struct OwnStep {
  std::size_t track{0};
  Step step;
};

bool is_one_event(const Seam& seam, const Step& step) {
  const double away_s = std::abs(seam.step_s - step.step_s);
  const double slack_s = away_s <= kSameStep_s ? kSeamSlack_s : 0.0;
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
  seam.mix_from_s = middle_s - 0.5 * kSeamSlack_s;
  seam.mix_to_s = middle_s + 0.5 * kSeamSlack_s;
}

/// Whether a track that is heard in between shows two events of which `sum` is both at once.
bool is_both(const Seam& sum, const Seam& a, const Seam& b) {
  const auto is_within = [&](const Seam& part) {
    return part.mix_from_s >= sum.mix_from_s - kSeamSlack_s &&
           part.mix_to_s <= sum.mix_to_s + kSeamSlack_s;
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
  for (const Seam& event : events) judge_event(event, events, states, remote, seams);
  join_the_others(states, seams);
  take_off_the_mix(states, remote, seams);
  take_off_the_recorder(states, seams);
  std::stable_sort(seams.begin(), seams.end(), [](const Seam& a, const Seam& b) {
    return a.mix_from_s + a.mix_to_s < b.mix_from_s + b.mix_to_s;
  });
  return seams;
}

}  // namespace kilter::sync
