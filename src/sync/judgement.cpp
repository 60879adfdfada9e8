#include "judgement.h"

#include <algorithm>
#include <cmath>

#include "elsewhere.h"
#include "finding_texts.h"
#include "kilter/base/clock_text.h"
#include "kilter/base/median.h"
#include "odd_siblings.h"
#include "recorders.h"
#include "track_fit.h"

namespace kilter::sync {
namespace {

constexpr int kLeastWindows = 3;               // for firm
constexpr int kLeastDisputed = 5;              // for firm, where others say otherwise
constexpr double kLeastShare = 0.5;            // of the evidence on the line, for firm
constexpr double kFirmUncertainty_us = 500.0;  // half of what a listener may never hear
constexpr double kDispersionShare = 0.5;       // of the disagreement between low and high band
// What more windows do not average away: the phase of the mix bus's filters, ducked microphones
// (3 to 11 us seen), and what a lossy codec adds.
constexpr double kFloor_us = 8.0;
constexpr double kLossyFloor_us = 5.0;
constexpr double kShort_us = 6.0;  // in a talk of kShort_s; falls with the root of the length
constexpr double kShort_s = 120.0;
constexpr double kMixStep_us = 5.0;  // of every step of the mix itself
constexpr int kLeastClear = 2;       // for firm
constexpr double kLongestSplice_s = 0.020;
constexpr int kTellingSplices = 4;  // they lie on one line
constexpr double kStanding_ppm = 0.3;
constexpr double kPull_s = 25e-6;  // between two windows, by voices' spectra and a lossy stream
constexpr double kLikelySplice_s = 0.010;
constexpr double kSurelySpliced_s = 1500.0;  // by a drift of 10 ppm

/// Of the seams that are the track's alone, or its stream's; 0 without any.
double largest_own_step_s(const Evidence& evidence, std::size_t track) {
  double largest_s = 0.0;
  for (const Seam& seam : evidence.seams) {
    if (shows(seam, track) && seam.tracks.size() == 1 && seam.cause != SeamCause::mix)
      largest_s = std::max(largest_s, std::abs(seam.step_s));
  }
  return largest_s;
}

/// Track seconds between the outermost windows of the level that reaches furthest.
double lever_s(const TrackState& state) {
  double longest_s = 0.0;
  for (const Piece& piece : state.pieces) {
    double first_s = piece.to_s;
    double last_s = piece.from_s;
    for (std::size_t i = 0; i < state.measured.size(); ++i) {
      const double track_s = state.measured[i].track_s;
      if (state.weights[i] <= 0.1 || track_s < piece.from_s || track_s > piece.to_s) continue;
      first_s = std::min(first_s, track_s);
      last_s = std::max(last_s, track_s);
    }
    longest_s = std::max(longest_s, last_s - first_s);
  }
  return longest_s;
}

/// As far as can be told: over a few seconds, what pulls each window looks like drift.
bool stands_still(const TrackState& state) {
  const double pull_ppm = 1e6 * kPull_s / std::max(lever_s(state), 1.0);
  return std::abs(state.drift_ppm()) < kStanding_ppm + 4e6 * state.fit.rate_sigma + pull_ppm;
}

/// A stream that is played on the mix's clock stands still until it is spliced: too short a talk
/// does not tell it from a recorder that runs with the mix.
bool may_wait_for_a_splice(const Evidence& evidence, std::size_t track) {
  const TrackState& state = evidence.states[track];
  return state.splice_s == 0.0 && stands_still(state) &&
         is_alone_on_its_recorder(evidence.states, track) &&
         evidence.mix.length_s < kSurelySpliced_s;
}

/// The one jump of a stream that otherwise stands still; 0 where it has none, more, or drifts.
double lone_splice_s(const Evidence& evidence, std::size_t track) {
  double jump_s = 0.0;
  for (const Seam& seam : evidence.seams) {
    if (!shows(seam, track) || seam.cause != SeamCause::stream) continue;
    if (jump_s > 0.0) return 0.0;
    jump_s = std::abs(seam.step_s);
  }
  const TrackState& state = evidence.states[track];
  return stands_still(state) && jump_s <= kLongestSplice_s ? jump_s : 0.0;
}

Doubt doubt_of_seam(const Seam& seam) {
  return {"Near " + clock_text(seam.place.mix_end_s) +
              " of the mix everything steps, and no track stays whole there to say whether the mix "
              "or a recording lost or repeated a stretch.",
          std::abs(seam.step_s)};
}

bool moves(const Seam& seam, const Evidence& evidence, std::size_t track) {
  return seam.cause == SeamCause::mix || shows(seam, track) ||
         (seam.cause == SeamCause::recorder && seam.recorder == evidence.states[track].recorder);
}

/// A seam that moves this track and may be somebody else's.
const Seam* unsure_seam(const Evidence& evidence, std::size_t track) {
  for (const Seam& seam : evidence.seams)
    if (seam.unsure && moves(seam, evidence, track)) return &seam;
  return nullptr;
}

/// Whether windows vouch for the recorder's line between two of its seams, by mix seconds: a few
/// words alone may be one person's in a neighbour's microphone.
bool is_vouched_for(const Evidence& evidence, int recorder, double from_s, double to_s) {
  for (const TrackState& state : evidence.states) {
    if (!state.placed || state.apart || state.recorder != recorder) continue;
    for (std::size_t i = 0; i < state.measured.size(); ++i) {
      const Measured& m = state.measured[i];
      if (state.weights[i] > 0.1 && m.piece < kScoutLanes && m.at_s > from_s && m.at_s < to_s)
        return true;
    }
  }
  return false;
}

/// A seam of the track's recorder on one side of which no window tells where its tracks lie.
const Seam* faint_seam(const Evidence& evidence, std::size_t track) {
  const int recorder = evidence.states[track].recorder;
  const Seam* last = nullptr;
  double from_s = -1e300;
  for (const Seam& seam : evidence.seams) {
    if (seam.cause != SeamCause::recorder || seam.recorder != recorder) continue;
    if (!is_vouched_for(evidence, recorder, from_s, seam.place.mix_end_s)) return &seam;
    from_s = seam.place.mix_end_s;
    last = &seam;
  }
  return last != nullptr && !is_vouched_for(evidence, recorder, from_s, 1e300) ? last : nullptr;
}

const Seam* loose_seam(const Evidence& evidence, std::size_t track) {
  for (const Seam& seam : evidence.seams)
    if (seam.place.loose_s > kLoose_s && moves(seam, evidence, track)) return &seam;
  return nullptr;
}

}  // namespace

double uncertainty_us(const Evidence& evidence, std::size_t track, int level, double track_s) {
  const TrackState& state = evidence.states[track];
  const double few = 1.0 + 4.0 / std::max(1.0, static_cast<double>(state.used) - 1.0);
  std::vector<double> dispersions_us;
  for (std::size_t i = 0; i < state.measured.size(); ++i)
    if (state.weights[i] > 0.1)
      dispersions_us.push_back(1e6 * state.measured[i].reading.dispersion_s);
  double floor_us = kFloor_us;
  if (evidence.mix.lossy) floor_us += kLossyFloor_us;
  if (evidence.tracks[track].lossy) floor_us += kLossyFloor_us;
  // A few minutes hold a few sentences of each voice, whose spectra pull all one way.
  floor_us += kShort_us * std::sqrt(kShort_s / std::max(evidence.mix.length_s, 1.0));
  floor_us = std::hypot(
      floor_us, kDispersionShare * std::abs(dispersions_us.empty() ? 0.0 : median(dispersions_us)));
  const double sigma_us = 1e6 * state.fit.sigma_s(level, track_s);
  const double mix_steps_us = kMixStep_us * static_cast<double>(evidence.mix_spans.size() - 1);
  const double bound_us =
      std::hypot(2.0 * few * sigma_us, floor_us, mix_steps_us) + 0.5e6 * state.splice_s;
  return std::min(bound_us, 1e6 * kFarthest_s);
}

Doubt doubt_of_outermost(double line_s, double late_s, Outermost where) {
  return {"Near " + clock_text(line_s) + " of the timeline it is heard " + milliseconds(late_s) +
              (late_s > 0.0 ? " late" : " early") + ", and nowhere " +
              (where == Outermost::first ? "before" : "after") +
              " that in place: its stream may have moved for a while, or the recording lost or "
              "repeated a stretch.",
          std::abs(late_s)};
}

std::optional<Doubt> doubt_of_mix(const std::vector<Seam>& seams) {
  for (const Seam& seam : seams)
    if (seam.unsure && seam.cause == SeamCause::mix) return doubt_of_seam(seam);
  return std::nullopt;
}

std::optional<Doubt> doubt_of(const Evidence& evidence, std::size_t track, double uncertainty_us) {
  const TrackState& state = evidence.states[track];
  if (state.louder_in)
    return Doubt{"All that places it is louder in \"" + evidence.tracks[*state.louder_in].name +
                     "\": it may hold that voice over a loudspeaker, late by an unknown time, and "
                     "nothing of its own.",
                 kLeakReach_s};
  auto elsewhere = first_stray_window(evidence, track);
  if (!elsewhere) elsewhere = first_stray(state);
  if (!elsewhere) elsewhere = first_stray_vote(evidence, track);
  if (elsewhere)
    return Doubt{
        "A part of it, near " + clock_text(elsewhere->track_s * state.rate_ratio) +
            " of the recording, fits the mix at another place than the rest: it, or the mix, "
            "may have lost or repeated a stretch there.",
        elsewhere->off_s};
  if (state.unvouched_s)
    return Doubt{
        "About " + clock_text(*state.unvouched_s * state.rate_ratio) +
            " of the recording, towards its end there, somebody talks and nothing in the mix "
            "stands where the rest puts it: a stretch may be lost or repeated there.",
        kFarthest_s};
  if (state.shared_stray_s)
    return Doubt{
        "Several tracks are heard elsewhere in the mix than they should, all by as much: the "
        "mix may have lost or repeated a stretch.",
        *state.shared_stray_s};
  if (const double step_s = largest_own_step_s(evidence, track); state.faint && step_s > 0.0)
    return Doubt{
        "On one side of a seam hardly anything of its own is heard: what fits there may be "
        "another's voice that leaks into it.",
        step_s};
  if (const Seam* seam = faint_seam(evidence, track))
    return Doubt{"On one side of its recorder's seam near " + clock_text(seam->place.mix_end_s) +
                     " of the mix hardly anything is heard of its tracks: what fits there may be "
                     "a neighbour's voice, which comes late.",
                 std::min(std::abs(seam->step_s), kNeighbour_s)};
  if (const Seam* seam = unsure_seam(evidence, track)) return doubt_of_seam(*seam);
  if (const Seam* seam = loose_seam(evidence, track))
    return Doubt{"Near " + clock_text(seam->place.mix_end_s) +
                     " of the mix it steps, and no sound tells where exactly.",
                 std::abs(seam->step_s)};
  if (const auto step = step_unseen_by(evidence, track))
    return Doubt{"Near " + clock_text(step->mix_s) + " of the mix \"" +
                     evidence.tracks[step->other].name +
                     "\" is heard elsewhere than it should, and this one not at all on that side: "
                     "the mix may have lost or repeated a stretch.",
                 step->off_s};
  if (const auto other = unlike_sibling(evidence.states, track))
    return Doubt{"It begins with \"" + evidence.tracks[*other].name +
                     "\" and is as long to the frame, as tracks of one recorder are, yet its "
                     "windows put it elsewhere: they may follow a neighbour's voice.",
                 std::abs(evidence.states[*other].start_s() - state.start_s())};
  if (const auto other = sibling_with_a_seam(evidence.states, track))
    return Doubt{"It is as long to the frame as \"" + evidence.tracks[*other].name +
                     "\", as tracks of one recorder are, yet only one of them seems to have lost "
                     "or repeated a stretch.",
                 std::min(kFarthest_s, furthest_start_s(evidence.states[*other], state))};
  if (const auto odd = odd_length(evidence, track))
    return Doubt{"It is " + milliseconds(odd->longer_s) +
                     (odd->longer_s > 0.0 ? " longer than \"" : " shorter than \"") +
                     evidence.tracks[odd->other].name +
                     "\", and tracks of one recorder end together: where it says nothing, "
                     "towards its end, it may have lost or repeated a stretch.",
                 std::abs(odd->longer_s)};
  if (const auto odd = odd_step(evidence, track))
    return Doubt{"Its seam and its length differ by " + milliseconds(std::abs(odd->longer_s)) +
                     ", and tracks of one recorder end together, as \"" +
                     evidence.tracks[odd->other].name +
                     "\" does: on one side of its seam a neighbour's voice, which comes late, may "
                     "be all that is heard.",
                 std::abs(odd->longer_s)};
  if (const auto odd = odd_start(evidence, track)) {
    const std::string other = "\"" + evidence.tracks[odd->other].name + "\"";
    const std::string alike =
        odd->ends_together
            ? "It ends together with " + other +
                  " and drifts alike, as tracks of one "
                  "recorder do, yet is " +
                  milliseconds(odd->longer_s) + (odd->longer_s > 0.0 ? " longer" : " shorter")
            : "It drifts as " + other +
                  " does, as tracks of one recorder do, yet "
                  "begins " +
                  milliseconds(odd->longer_s) + (odd->longer_s > 0.0 ? " earlier" : " later");
    return Doubt{alike +
                     ": where it says nothing, towards its beginning, it may have lost or "
                     "repeated a stretch.",
                 std::abs(odd->longer_s)};
  }
  if (const auto other = sibling_with_strays(evidence, track))
    return Doubt{"Parts of \"" + evidence.tracks[other->track].name +
                     "\", of the same recorder and as long to the frame, are heard elsewhere than "
                     "they should: the recorder may have lost or repeated a stretch there.",
                 other->part.off_s};
  if (state.shares_with)
    return Doubt{"The same voices are in \"" + evidence.tracks[*state.shares_with].name +
                     "\", which found no place: what is heard here may be that one's, from "
                     "across the room.",
                 kNeighbour_s};
  const bool is_disputed = state.used < kLeastDisputed && state.used < std::ssize(state.measured);
  if (state.used < kLeastWindows || is_disputed)
    return Doubt{"It is heard clearly in only " + std::to_string(state.used) +
                     (state.used == 1 ? " stretch" : " stretches") + " of the mix.",
                 kNeighbour_s};
  if (clear_windows_on_line(state) < kLeastClear)
    return Doubt{"Nowhere is it heard clearly apart from the other tracks.", kNeighbour_s};
  if (state.used_share < kLeastShare)
    return Doubt{
        "Most of what is heard of it does not agree on one straight line: it may have a "
        "hole, or another clock.",
        kNeighbour_s};
  if (state.splice_s > 0.0 && state.splices < kTellingSplices)
    return Doubt{"In the mix its clock goes in jumps of about " + milliseconds(state.splice_s) +
                     ", as a network stream is spliced; the line runs through their middle.",
                 0.0};
  if (const double splice_s = lone_splice_s(evidence, track); splice_s > 0.0)
    return Doubt{"In the mix its clock stands still but for one jump of " + milliseconds(splice_s) +
                     ": a network stream may be spliced instead of drifting, and the recording's "
                     "own clock runs on between.",
                 splice_s};
  if (may_wait_for_a_splice(evidence, track))
    return Doubt{
        "In the mix its clock stands still: either it runs with the mix, or a network stream is "
        "spliced now and then instead of drifting, and the talk is too short to tell.",
        kLikelySplice_s};
  // How far the mix runs off a spliced stream's line is told with it.
  if (uncertainty_us - 0.5e6 * state.splice_s > kFirmUncertainty_us)
    return Doubt{
        "What is heard of it stands too close together to say how its clock runs over the "
        "whole track.",
        0.0};
  return std::nullopt;
}

}  // namespace kilter::sync
