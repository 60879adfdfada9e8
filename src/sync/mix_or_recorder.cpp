#include "mix_or_recorder.h"

#include <algorithm>
#include <cmath>

#include "seam_lines.h"
#include "sound_matcher.h"

namespace kilter::sync {
namespace {

constexpr double kHoleMargin_s = 0.1;
constexpr double kLeastOfHole_s = 0.3;
constexpr double kPartOfHole_s = 6.0;
constexpr double kMostParts = 8.0;  // of a track that are listened to, however long the hole
constexpr double kMostAround_s = 15.0;
constexpr double kBeside_s = 1.0;
constexpr double kOnItsLine_s = 1e-3;
constexpr double kMostOfGap = 0.5;
// Hardly a recorder has too much but for zeros and copies: more must speak against the mix.
constexpr double kNearlyAllOfGap = 0.7;
constexpr double kSamePlace_s = 0.5;  // by which two voices' pauses may miss each other
constexpr double kAboveChance = 3.0;  // standard deviations; where it moved, some hundred

/// Mix seconds.
struct HeardPart {
  double from_s{0.0};
  double to_s{0.0};
};

/// From the first to the last window within the seam's gap in which the track is heard.
HeardPart heard_within(const TrackState& state, const Seam& seam) {
  HeardPart heard{seam.mix_to_s, seam.mix_from_s};
  for (std::size_t i = 0; i < state.measured.size(); ++i) {
    const double at_s = state.measured[i].at_s;
    if (state.weights[i] <= 0.1 || at_s < seam.mix_from_s || at_s > seam.mix_to_s) continue;
    heard.from_s = std::min(heard.from_s, at_s);
    heard.to_s = std::max(heard.to_s, at_s);
  }
  return heard;
}

/// What the parts cover together, but for their ends: what a window tells may all lie on one side
/// of its middle.
double surely_covered_s(std::vector<HeardPart> parts) {
  std::sort(parts.begin(), parts.end(),
            [](const HeardPart& a, const HeardPart& b) { return a.from_s < b.from_s; });
  double length_s = 0.0;
  double reached_s = -1e300;
  for (const HeardPart& part : parts) {
    const double from_s = part.from_s + kWindowReach_s;
    const double to_s = part.to_s - kWindowReach_s;
    length_s += std::max(0.0, to_s - std::max(from_s, reached_s));
    reached_s = std::max(reached_s, to_s);
  }
  return length_s;
}

/// The other recorders' tracks, none of which steps within the seam's gap.
struct Others {
  std::vector<SeamWitness> on_their_line;  // before it and after it
  std::vector<HeardPart> heard;
  HeardPart all{1e300, -1e300};
};

Others others_of(const std::vector<TrackInput>& tracks, const std::vector<TrackState>& states,
                 const Seam& seam) {
  Others others;
  for (std::size_t k = 0; k < states.size(); ++k) {
    const TrackState& state = states[k];
    if (!state.placed || state.apart || shows(seam, k) || state.recorder == seam.shown_by) continue;
    const auto line = line_through(state, seam.mix_from_s, seam.mix_to_s);
    if (!line) continue;
    const HeardPart heard = heard_within(state, seam);
    if (heard.from_s > heard.to_s) continue;
    others.on_their_line.push_back({tracks[k].signal, *line, *line});
    others.heard.push_back(heard);
    others.all.from_s = std::min(others.all.from_s, heard.from_s);
    others.all.to_s = std::max(others.all.to_s, heard.to_s);
  }
  return others;
}

std::int64_t frames_of(double s) {
  return static_cast<std::int64_t>(std::llround(s * kAnalysisRateHz));
}

/// Whether the mix has the sound there, and no second copy of it a step away.
Result<bool> is_there_only(const AnalysisSignal& mix, double from_s, double step_s,
                           SoundMatcher& matcher) {
  const double around_s = std::min(step_s + kBeside_s, kMostAround_s);
  const auto match = matcher.look_over(mix, frames_of(from_s - around_s),
                                       frames_of(from_s + around_s), Polarity::either, nullptr);
  if (!match) return match.error();
  if (!match->found || std::abs(match->offset_s - around_s) >= kOnItsLine_s) return false;
  if (around_s > step_s) return true;
  for (const double copy_s : {from_s - step_s, from_s + step_s}) {
    const auto copy = matcher.look(mix, frames_of(copy_s), frames_of(kBeside_s), Polarity::either);
    if (!copy) return copy.error();
    if (copy->found) return false;
  }
  return true;
}

}  // namespace

Result<bool> bear_out(const MixInput& mix, const std::vector<SeamWitness>& witnesses, double step_s,
                      double from_s, double to_s, Side side, const SeamPlace* known) {
  if (witnesses.empty()) return false;
  to_s = std::max(from_s, to_s - std::max(0.0, step_s));
  const auto place = place_seam(*mix.signal, witnesses, step_s, from_s, to_s);
  if (!place) return place.error();
  if (known != nullptr && (place->earliest_s > known->latest_s + kSamePlace_s ||
                           place->latest_s < known->earliest_s - kSamePlace_s))
    return false;
  const double enough = kSyllable_bins * place->speech;
  // A line that is belied on the one side says that something moved; not by how much.
  const double before = std::min(place->over_first, place->heard_before);
  const double after = std::min(place->over_last, place->heard_after);
  return (side == Side::after || before > enough + kAboveChance * place->chance_first) &&
         (side == Side::before || after > enough + kAboveChance * place->chance_last);
}

Result<void> hear_the_others(const MixInput& mix, const std::vector<TrackInput>& tracks,
                             const std::vector<TrackState>& states, Seam& seam) {
  if (seam.cause != SeamCause::mix || !seam.mix_or_recorder) return {};
  const Others others = others_of(tracks, states, seam);
  const double most = seam.step_s > 0.0 ? kMostOfGap : kNearlyAllOfGap;
  if (surely_covered_s(others.heard) < most * (seam.mix_to_s - seam.mix_from_s)) return {};

  std::vector<SeamWitness> late = others.on_their_line;
  for (SeamWitness& witness : late) witness.before.start_s -= seam.step_s;
  const auto moved_early =
      bear_out(mix, late, seam.step_s, std::max(0.0, seam.mix_from_s - kWindowReach_s),
               others.all.from_s + kWindowReach_s, Side::before);
  if (!moved_early) return moved_early.error();
  std::vector<SeamWitness> early = others.on_their_line;
  for (SeamWitness& witness : early) witness.after.start_s += seam.step_s;
  const auto moved_late =
      bear_out(mix, early, seam.step_s, std::max(0.0, others.all.to_s - kWindowReach_s),
               seam.mix_to_s + kWindowReach_s, Side::after);
  if (!moved_late) return moved_late.error();

  if (*moved_early == *moved_late) {  // it moved but once
    seam.cause = seam.unless_mix;
    seam.recorder = seam.shown_by;
    seam.unsure = false;
    seam.others_whole = true;
    return {};
  }
  seam.mix_or_recorder = seam.unsure = false;
  if (*moved_early)
    seam.mix_to_s = std::min(seam.mix_to_s, others.all.from_s);
  else
    seam.mix_from_s = std::max(seam.mix_from_s, others.all.to_s);
  return {};
}

Result<bool> is_filled_by_others(const MixInput& mix, const std::vector<TrackInput>& tracks,
                                 const std::vector<TrackState>& states, const Seam& seam) {
  const double hole_from_s = seam.place.mix_end_s + kHoleMargin_s;
  const double hole_to_s = seam.place.mix_end_s + seam.step_s - kHoleMargin_s;
  const double from_part_to_part_s =
      std::max(kPartOfHole_s, (hole_to_s - hole_from_s) / kMostParts);
  SoundMatcher matcher;
  for (std::size_t k = 0; k < states.size(); ++k) {
    const TrackState& state = states[k];
    if (!state.placed || state.apart || shows(seam, k) || state.recorder == seam.shown_by) continue;
    for (double from_s = hole_from_s; hole_to_s - from_s > kLeastOfHole_s;
         from_s += from_part_to_part_s) {
      const auto track_s = state.map->to_track(from_s);
      if (!track_s) continue;
      const double length_s = std::min(hole_to_s - from_s, kPartOfHole_s);
      if (auto taken = matcher.take(*tracks[k].signal, frames_of(*track_s), frames_of(length_s));
          !taken)
        return taken.error();
      auto lies_there = is_there_only(*mix.signal, from_s, seam.step_s, matcher);
      if (!lies_there || *lies_there) return lies_there;
    }
  }
  return false;
}

}  // namespace kilter::sync
