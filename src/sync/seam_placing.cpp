#include "seam_placing.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "kilter/base/parallel.h"
#include "mix_or_recorder.h"
#include "mix_timeline.h"
#include "seam_lines.h"

namespace kilter::sync {
namespace {

constexpr double kLikeTheStep_s = 0.010;
constexpr double kSameCut_s = 1e-6;
constexpr double kNearSeam_s = 1e-3;
constexpr int kTellingWindows = 3;  // fewer do not vouch for a line

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
  // What stands in the track twice, or as zeros, or amid a word, no stream's buffer did.
  const bool in_a_word = found->in_speech && seen_s > 0.0 && seen_s <= kLongestBuffer_s;
  if (seam.cause == SeamCause::stream &&
      (found->zeros || (found->repeated && seen_s < 0.0) || in_a_word))
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
SeamWitness witness_of(const Seam& seam, const RecorderLines& reference, std::size_t track,
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
  const std::vector<RecorderLines> references = lines_round(seam, states);
  const double middle_s = 0.5 * (seam.mix_from_s + seam.mix_to_s);
  seam.placed_by = references.front().track;
  for (const RecorderLines& reference : references)
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
  const double from_s = std::max(0.0, seam.mix_from_s - kWindowReach_s);
  const double to_s = seam.mix_to_s + kWindowReach_s;
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
  sides.from_s = std::max(0.0, seam.mix_from_s - kWindowReach_s);
  sides.to_s = std::min(mix_length_s, seam.mix_to_s + kWindowReach_s);
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
        if (const TrackState& other = states[sides.tracks[w]];
            other.recorder != seam.shown_by && other.used >= kTellingWindows)
          others.push_back(sides.witnesses[w]);
      const auto confirmed =
          bear_out(mix, others, seam.seen_s, sides.from_s, sides.to_s, Side::both, &seam.place);
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

}  // namespace kilter::sync
