#include "judgement.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <optional>

#include "kilter/base/clock_text.h"
#include "kilter/base/median.h"
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
constexpr double kMixStep_us = 5.0;        // of every step of the mix itself
constexpr int kLeastClear = 2;             // for firm
constexpr double kStep_s = 0.5e-3;         // off the line by so much, a clear window contradicts it
constexpr double kHalfWindow_s = 3.0;      // a window there may still hear into a hole
constexpr double kTellsRange_s = 1.0;      // a pause so long is told with both its ends
constexpr double kStrayShare = 0.08;       // of the clear windows may do so by chance,
constexpr double kStrayShareRemote = 0.3;  // or while a network stream holds a guest back
constexpr double kStreamReach_s = 0.075;
constexpr double kFarOff_s = 0.040;  // for votes of the first map, which are coarse
constexpr double kStrongVote = 12.0;
constexpr double kStrayVoteShare = 0.35;  // of the strongest vote on the line
constexpr double kChunk_s = 60.0;         // of a vote
constexpr double kSearched_s = 6.0;       // to both sides, for strays
constexpr double kLeakDelay_s = 1.5e-3;   // that one is known to
constexpr double kFarthest_s = 10.0;      // what is off by an unknown time is told as so much
constexpr double kOddLeast_s = 0.010;     // of two lengths that ought to be the same
constexpr double kPadding_s = 0.06;       // by which a lossy codec may lengthen a file
constexpr double kUnheardEnd_s = 15.0;
constexpr double kUnheardStart_s = 10.0;
constexpr double kSameDrift = 0.1e-6;
constexpr double kEndTogether_s = 1e-3;
constexpr double kLongestSplice_s = 0.020;
constexpr double kLoose_s = 0.05;   // of a seam's place
constexpr int kTellingSplices = 4;  // they lie on one line
constexpr double kStanding_ppm = 0.3;
constexpr double kPull_s = 25e-6;  // between two windows, by voices' spectra and a lossy stream
constexpr double kLikelySplice_s = 0.010;
constexpr double kSurelySpliced_s = 1500.0;  // by a drift of 10 ppm

std::string milliseconds(double s) {
  char text[32];
  std::snprintf(text, sizeof text, std::abs(s) < 1.0 ? "%.1f ms" : "%.3f s",
                std::abs(s) < 1.0 ? std::abs(s) * 1e3 : std::abs(s));
  return text;
}

std::string times(const std::vector<Stretch>& stretches) {
  return stretches.size() == 1 ? std::string("once") : std::to_string(stretches.size()) + " times";
}

double total_s(const std::vector<Stretch>& stretches) {
  double sum = 0.0;
  for (const Stretch& stretch : stretches) sum += stretch.line_to_s - stretch.line_from_s;
  return sum;
}

/// How far from where the track's spans put it; nothing where no span holds it.
std::optional<double> off_map_s(const TrackState& state, double track_s, double mix_s) {
  const auto mapped_s = state.map->to_line(track_s);
  if (!mapped_s) return std::nullopt;
  return mix_s - *mapped_s;
}

int clear_windows_on_line(const TrackState& state) {
  int count = 0;
  for (const ClearWindow& window : state.clear) {
    const auto off_s = off_map_s(state, window.track_s, window.mix_s);
    if (off_s && std::abs(*off_s) < std::max(kStep_s, state.splice_s)) ++count;
  }
  return count;
}

/// A part of the track that is heard elsewhere than the rest.
struct Elsewhere {
  double track_s{0.0};
  double off_s{0.0};
};

/// Whether one of its recorder is no longer than it is: then it has lost nothing alone.
bool has_whole_sibling(const std::vector<TrackState>& states, std::size_t k) {
  for (std::size_t j = 0; j < states.size(); ++j)
    if (j != k && states[j].placed && states[j].recorder == states[k].recorder &&
        (same_length(states[j], states[k]) || states[j].length_s < states[k].length_s))
      return true;
  return false;
}

/// Whether another track has a hole there, or does not run: a neighbour then hears that person
/// alone.
bool in_anothers_hole(const std::vector<TrackState>& states, std::size_t k, double mix_s) {
  for (std::size_t j = 0; j < states.size(); ++j) {
    if (j == k || !states[j].placed || states[j].apart) continue;
    const auto spans = states[j].map->spans();
    if (mix_s < spans.front().line_from_s + kHalfWindow_s ||
        mix_s > spans.back().line_to_s - kHalfWindow_s)
      return true;
    for (std::size_t i = 1; i < spans.size(); ++i)
      if (mix_s > spans[i - 1].line_to_s - kHalfWindow_s &&
          mix_s < spans[i].line_from_s + kHalfWindow_s &&
          spans[i].line_from_s - spans[i - 1].line_to_s > kStep_s)
        return true;
  }
  return false;
}

/// Clear windows off the line: the first, where they are too many for chance.
std::optional<Elsewhere> first_stray_window(const Evidence& evidence, std::size_t track) {
  const TrackState& state = evidence.states[track];
  // One as long as its sibling has lost nothing alone: what it hears a little late is a neighbour.
  const bool whole = has_whole_sibling(evidence.states, track);
  const auto is_neighbours = [&](const ClearWindow& window) {
    return whole || in_anothers_hole(evidence.states, track, window.mix_s);
  };
  std::vector<Elsewhere> far;
  std::vector<Elsewhere> near;
  for (const ClearWindow& window : state.clear) {
    const auto off_s = off_map_s(state, window.track_s, window.mix_s);
    if (!off_s || std::abs(*off_s) <= std::max(kStep_s, state.splice_s)) continue;
    if (is_leak(evidence.leaks, track, *off_s)) continue;
    if (*off_s < 0.0 && *off_s > -kNeighbour_s && is_neighbours(window)) continue;
    (std::abs(*off_s) < kStreamReach_s ? near : far).push_back({window.track_s, std::abs(*off_s)});
  }
  const auto all = static_cast<double>(state.clear.size());
  const double share = state.recorder >= 0 ? kStrayShare : kStrayShareRemote;
  std::vector<Elsewhere> off = far;
  off.insert(off.end(), near.begin(), near.end());
  if (std::ssize(off) < 2 || static_cast<double>(off.size()) <= share * all) return std::nullopt;
  Elsewhere first = off.front();
  for (const Elsewhere& each : off) {
    first.track_s = std::min(first.track_s, each.track_s);
    first.off_s = std::max(first.off_s, each.off_s);
  }
  return first;
}

std::optional<Elsewhere> first_stray(const TrackState& state) {
  if (state.strays.empty()) return std::nullopt;
  Elsewhere first{state.strays.front().track_s, 0.0};
  for (const Stray& stray : state.strays)
    first.off_s = std::max(first.off_s, std::abs(stray.mix_s - stray.mapped_s));
  return first;
}

/// Chunks that the first map heard far from the line, where neither a seam nor a loudspeaker
/// explains them.
std::optional<Elsewhere> first_stray_vote(const Evidence& evidence, std::size_t track) {
  const TrackState& state = evidence.states[track];
  // A chunk near a seam may vote for either side, and one in which another person leaks into the
  // track for where that one is heard.
  std::vector<double> delays_s{0.0};
  for (const Leak& leak : evidence.leaks)
    if (leak.holder == track) delays_s.push_back(leak.delay_s);
  const auto off_piece_s = [&](const Vote& vote, const Piece& piece) {
    const double mix_s = vote.track_s + vote.lag_s;
    const double mapped_s = state.curve.line_s(piece.level, vote.track_s);
    double least_s = kFarthest_s;
    for (const Span& mix : evidence.mix_spans) {
      if (mix_s < mix.from_s - kChunk_s || mix_s > mix.to_s + kChunk_s) continue;
      const double line_s = mix_s + mix.line_from_s - mix.from_s;
      for (const double delay_s : delays_s)
        least_s = std::min(least_s, std::abs(line_s + delay_s - mapped_s));
    }
    return least_s;
  };
  const auto off_s = [&](const Vote& vote) {
    double least_s = kFarthest_s;
    for (const Piece& piece : state.pieces) {
      if (vote.track_s < piece.from_s - kChunk_s || vote.track_s > piece.to_s + kChunk_s) continue;
      least_s = std::min(least_s, off_piece_s(vote, piece));
    }
    return least_s;
  };
  double strongest_on = 0.0;
  for (const Vote& vote : state.first.votes)
    if (off_s(vote) < kFarOff_s) strongest_on = std::max(strongest_on, vote.sigma);
  std::optional<Elsewhere> first;
  for (const Vote& vote : state.first.votes) {
    const double off = off_s(vote);
    // Nearer, all that it says has been looked for, and found in its place.
    const double least_s = state.apart || state.splice_s > 0.0 ? kFarOff_s : kSearched_s;
    if (off < least_s || vote.sigma <= std::max(kStrongVote, kStrayVoteShare * strongest_on))
      continue;
    if (!first) first = Elsewhere{vote.track_s, off};
    first->track_s = std::min(first->track_s, vote.track_s);
    first->off_s = std::max(first->off_s, off);
  }
  return first;
}

/// A track of the same length that begins together with this one on another line, where no
/// majority of such tracks stands on this one's.
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

/// A track of the same length on another recorder, where one of the two has a seam, or begins
/// further away than a neighbour's voice: had it lost something alone, it would be shorter.
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

/// The largest difference between two tracks' starts on any of their levels.
double furthest_start_s(const TrackState& a, const TrackState& b) {
  double furthest_s = 0.0;
  for (const Piece& of_a : a.pieces)
    for (const Piece& of_b : b.pieces)
      furthest_s = std::max(
          furthest_s, std::abs(a.curve.line_s(of_a.level, 0.0) - b.curve.line_s(of_b.level, 0.0)));
  return furthest_s;
}

/// A track of the same recorder and length, parts of which are heard elsewhere: what a recorder
/// lost, all its tracks did.
struct StraySibling {
  std::size_t track{0};
  Elsewhere part;
};

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

/// Of the seams that are the track's alone, or its stream's; 0 without any.
double largest_own_step_s(const Evidence& evidence, std::size_t track) {
  double largest_s = 0.0;
  for (const Seam& seam : evidence.seams) {
    const bool shows =
        std::find(seam.tracks.begin(), seam.tracks.end(), track) != seam.tracks.end();
    if (shows && seam.tracks.size() == 1 && seam.cause != SeamCause::mix)
      largest_s = std::max(largest_s, std::abs(seam.step_s));
  }
  return largest_s;
}

/// What a track has lost alone, less what it holds twice.
double own_loss_s(const Evidence& evidence, std::size_t track) {
  double sum = 0.0;
  for (const Seam& seam : evidence.seams)
    if ((seam.cause == SeamCause::track || seam.cause == SeamCause::stream) &&
        std::find(seam.tracks.begin(), seam.tracks.end(), track) != seam.tracks.end())
      sum += seam.step_s;
  return sum;
}

/// Track seconds after the last clear window on the line.
double unheard_end_s(const TrackState& state) {
  double last_s = 0.0;
  for (const ClearWindow& window : state.clear) {
    const auto off_s = off_map_s(state, window.track_s, window.mix_s);
    if (off_s && std::abs(*off_s) < kStep_s) last_s = std::max(last_s, window.track_s);
  }
  return state.length_s - last_s;
}

struct OddLength {
  std::size_t other{0};
  double longer_s{0.0};
};

/// A recorder ends all its files together. Of one that is longer or shorter than all others, by
/// what no seam explains, and that says nothing towards its end, a stretch may be lost or doubled.
std::optional<OddLength> odd_length(const Evidence& evidence, std::size_t track) {
  const TrackState& state = evidence.states[track];
  std::optional<OddLength> odd;
  for (std::size_t j = 0; j < evidence.states.size(); ++j) {
    const TrackState& other = evidence.states[j];
    if (j == track || !other.placed || other.apart || other.recorder != state.recorder ||
        std::abs(other.start_s() - state.start_s()) > kNeighbour_s)
      continue;
    const double longer_s =
        state.length_s - other.length_s + own_loss_s(evidence, track) - own_loss_s(evidence, j);
    const bool padded = evidence.tracks[track].lossy || evidence.tracks[j].lossy;
    if (std::abs(longer_s) < (padded ? kPadding_s : kOddLeast_s)) return std::nullopt;
    if (!odd && std::abs(longer_s) < kFarthest_s) odd = OddLength{j, longer_s};
  }
  if (!odd || unheard_end_s(state) < kUnheardEnd_s) return std::nullopt;
  return odd;
}

/// Track seconds before the first clear window on the line.
double unheard_start_s(const TrackState& state) {
  double first_s = state.length_s;
  for (const ClearWindow& window : state.clear) {
    const auto off_s = off_map_s(state, window.track_s, window.mix_s);
    if (off_s && std::abs(*off_s) < kStep_s) first_s = std::min(first_s, window.track_s);
  }
  return first_s;
}

/// Two that end together and drift alike are of one recorder, which begins all its files together.
/// Of one that says nothing towards its beginning, a stretch may be lost or doubled there.
std::optional<OddLength> odd_start(const Evidence& evidence, std::size_t track) {
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
    const double longer_s = state.length_s - other.length_s;
    const double ends_s = state.curve.line_s(state.pieces.back().level, state.length_s) -
                          other.curve.line_s(other.pieces.back().level, other.length_s);
    const double slope_sigma = state.fit.rate_sigma + other.fit.rate_sigma;
    const bool drift_alike =
        std::abs(state.curve.rate - other.curve.rate) < kSameDrift + 4.0 * slope_sigma;
    if (drift_alike && std::abs(ends_s) < kEndTogether_s && std::abs(longer_s) >= kOddLeast_s &&
        std::abs(longer_s) < kFarthest_s)
      return OddLength{j, longer_s};
  }
  return std::nullopt;
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
    const bool shows =
        std::find(seam.tracks.begin(), seam.tracks.end(), track) != seam.tracks.end();
    if (!shows || seam.cause != SeamCause::stream) continue;
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
  return seam.cause == SeamCause::mix ||
         std::find(seam.tracks.begin(), seam.tracks.end(), track) != seam.tracks.end() ||
         (seam.cause == SeamCause::recorder && seam.recorder == evidence.states[track].recorder);
}

/// A seam that moves this track and may be somebody else's.
const Seam* unsure_seam(const Evidence& evidence, std::size_t track) {
  for (const Seam& seam : evidence.seams)
    if (seam.unsure && moves(seam, evidence, track)) return &seam;
  return nullptr;
}

const Seam* loose_seam(const Evidence& evidence, std::size_t track) {
  for (const Seam& seam : evidence.seams)
    if (seam.place.loose_s > kLoose_s && moves(seam, evidence, track)) return &seam;
  return nullptr;
}

}  // namespace

bool is_leak(const std::vector<Leak>& leaks, std::size_t track, double off_s) {
  return std::any_of(leaks.begin(), leaks.end(), [&](const Leak& leak) {
    return leak.holder == track && std::abs(off_s + leak.delay_s) < kLeakDelay_s;
  });
}

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
        "A part of it, about " + clock_text(elsewhere->track_s * state.rate_ratio) +
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
  if (const Seam* seam = unsure_seam(evidence, track)) return doubt_of_seam(*seam);
  if (const Seam* seam = loose_seam(evidence, track))
    return Doubt{"Near " + clock_text(seam->place.mix_end_s) +
                     " of the mix it steps, and no sound tells where exactly.",
                 std::abs(seam->step_s)};
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
  if (const auto odd = odd_start(evidence, track))
    return Doubt{"It ends together with \"" + evidence.tracks[odd->other].name +
                     "\" and drifts alike, as tracks of one recorder do, yet is " +
                     milliseconds(odd->longer_s) + (odd->longer_s > 0.0 ? " longer" : " shorter") +
                     ": where it says nothing, towards its beginning, it may have lost or repeated "
                     "a stretch.",
                 std::abs(odd->longer_s)};
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

Finding thin_evidence(const std::string& reason) {
  Finding finding;
  finding.code = "thin-evidence";
  finding.text = reason +
                 " Listen to it against the mix before you use it, and ask for a longer or clearer "
                 "recording where there is one.";
  return finding;
}

namespace {

/// A run of digital silence or a stretch that is there twice is the seam itself.
bool is_seen(const SeamPlace& place) { return place.zeros || place.repeated; }

struct Range {
  double from_s;
  double to_s;
};

/// In a pause a seam may be anywhere that nothing is said. On the timeline; nothing where its place
/// is known.
std::optional<Range> range_of(const SeamPlace& place, double line_s) {
  if (is_seen(place)) return std::nullopt;
  const Range range{line_s + std::min(place.earliest_s - place.mix_end_s, 0.0),
                    line_s + std::max(place.latest_s - place.mix_end_s, 0.0)};
  return range.to_s - range.from_s > kTellsRange_s ? std::optional(range) : std::nullopt;
}

std::string place_text(const SeamPlace& place, double line_s) {
  const bool about = range_of(place, line_s) || place.loose_s > kLoose_s;
  return " at " + clock_text(line_s) + " of the timeline" + (about ? ", or so" : "");
}

/// A sentence of its own; empty where the place is known.
std::string range_text(const SeamPlace& place, double line_s) {
  const auto range = range_of(place, line_s);
  return range ? " It may be anywhere between " + clock_text(range->from_s) + " and " +
                     clock_text(range->to_s) + " of the timeline."
               : "";
}

}  // namespace

Finding seam_finding(const Seam& seam, double track_s, double line_s) {
  Finding finding;
  finding.code = "seam";
  finding.at_s = track_s;
  finding.line_s = line_s;
  finding.step_s = seam.step_s;
  const std::string amount = milliseconds(seam.step_s);
  std::string who;
  switch (seam.cause) {
    case SeamCause::recorder:
      finding.cause = "recorder";
      who = "the recorder";
      break;
    case SeamCause::stream:
      finding.cause = "stream";
      who = "the network stream into the mix";
      break;
    default:
      finding.cause = "track";
      who = "this file";
  }
  const std::string at = place_text(seam.place, line_s);
  const std::string range = range_text(seam.place, line_s);
  if (seam.cause == SeamCause::stream)
    finding.text = "From there on " + who + " carries it " + amount +
                   (seam.step_s > 0.0 ? " later" : " earlier") + at +
                   (seam.place.in_speech
                        ? ": the recording is whole, the mix moved."
                        : ": the mix moved, or the recording did in that pause, which no sound "
                          "tells apart.") +
                   range + " The stem follows the mix; listen to the join.";
  else if (seam.step_s > 0.0)
    finding.text = who + " lost " + amount + " of sound" + at + "." + range +
                   " The stem has silence there; ask for the missing stretch if it was recorded "
                   "elsewhere too.";
  else
    finding.text = who + " has " + amount + " too much" + at +
                   (seam.place.zeros      ? ", a run of digital silence"
                    : seam.place.repeated ? ", a stretch that is there twice"
                                          : "") +
                   "." + range + " The stem leaves that out; listen to the join.";
  if (!finding.text.empty() && finding.text[0] >= 'a' && finding.text[0] <= 'z')
    finding.text[0] = static_cast<char>(finding.text[0] - 'a' + 'A');
  return finding;
}

Finding mix_seam_finding(const Seam& seam, double line_s) {
  Finding finding;
  finding.code = "mix-seam";
  finding.at_s = seam.place.mix_end_s;
  finding.line_s = line_s;
  finding.step_s = -seam.step_s;
  finding.cause = "mix";
  const std::string on_line = clock_text(line_s);
  const std::string on_mix = clock_text(seam.place.mix_end_s);
  const std::string amount = milliseconds(seam.step_s);
  finding.text = "The mix " +
                 (seam.step_s < 0.0 ? "lost " + amount + " of the talk"
                                    : "has " + amount + " that no recording has") +
                 " at " + on_mix + " of the mix" +
                 (on_line == on_mix ? "" : ", " + on_line + " of the timeline") +
                 ". The tracks stay whole and the timeline runs on; do not cut the "
                 "mix against it without this step.";
  return finding;
}

Finding excursion_finding(std::vector<Stretch> stretches, double furthest_s) {
  Finding finding;
  finding.code = "excursion";
  finding.text = "In the mix its network stream is " + milliseconds(furthest_s) +
                 (furthest_s > 0.0 ? " late" : " early") + " at the most, " + times(stretches) +
                 ", first at " + clock_text(stretches.front().line_from_s) +
                 " of the timeline, and comes back. The recording is whole and the stem is not "
                 "bent to follow; "
                 "use the stem there, not the mix.";
  finding.line_s = stretches.front().line_from_s;
  finding.step_s = furthest_s;
  finding.stretches = std::move(stretches);
  return finding;
}

Finding leak_finding(const Leak& leak, const std::string& from) {
  Finding finding;
  finding.code = "leak";
  const std::string level = std::to_string(std::lround(-leak.level_db)) + " dB below";
  const std::string delay = milliseconds(leak.delay_s) + (leak.delay_s >= 0.0 ? " late" : " early");
  if (leak.holder == leak.from)
    finding.text = "It holds its own voice a second time, " + delay + " and " + level +
                   " the first, as a return loop brings it about. Cut it where the person does "
                   "not speak.";
  else
    finding.text = "It also holds \"" + from + "\", " + delay + " and " + level +
                   " its own track, as a loudspeaker or open headphones bring it about. Turn it "
                   "down where only the other speaks.";
  finding.step_s = leak.delay_s;
  return finding;
}

namespace {

/// "cook", "keeper" and "mate", in quotes.
std::string in_quotes(const std::vector<std::string>& names) {
  std::string text;
  for (std::size_t i = 0; i < names.size(); ++i)
    text += (i == 0 ? "\"" : i + 1 == names.size() ? "\" and \"" : "\", \"") + names[i];
  return text + '"';
}

/// What of a length of sound, in a sentence that begins with a blank; empty where all were running.
std::string not_started_text(const NotStarted& not_started, double of_s) {
  constexpr double kAll_s = 0.5;  // what is unexplained is told in half seconds
  if (not_started.names.empty()) return "";
  const bool all = not_started.seconds > of_s - kAll_s;
  return (all ? std::string(" All of that")
              : ' ' + clock_text(not_started.seconds, 1) + " of that") +
         " is from before the recording of " + in_quotes(not_started.names) +
         (not_started.names.size() == 1 ? " had been started: it may be that person."
                                        : " had been started: it may be one of those people.");
}

}  // namespace

Finding leak_without_mix_finding(const std::vector<std::string>& sources) {
  Finding finding;
  finding.code = "leak";
  finding.text =
      "It also holds " + in_quotes(sources) +
      ", as a loudspeaker or open headphones bring it about, and is not heard there. It "
      "is placed by that alone: how late it came cannot be told without a mix. Listen to "
      "it against the others, and move it by as much.";
  return finding;
}

Finding duplicate_finding(const std::string& original, const CopyVerdict& copy) {
  Finding finding;
  finding.code = "duplicate";
  char gain[32];
  std::snprintf(gain, sizeof gain, "%+.1f dB", copy.gain_db);
  finding.text = "It is \"" + original + "\" once more, at " + gain +
                 (copy.inverted ? " and upside down" : "") +
                 ". It is placed like that one; use one of the two.";
  return finding;
}

Finding mix_copy_finding(const CopyVerdict& copy) {
  Finding finding;
  finding.code = "mix-copy";
  finding.text = copy.kind == CopyKind::of_mix
                     ? "It is the mix once more, no microphone of its own. It gets no stem; if a "
                       "person should be here, ask for that recording."
                     : "It holds several people's tracks together, as a mixer's own mix does, and "
                       "no microphone of its own. It gets no stem; if a person should be here, "
                       "look which input it was patched to.";
  return finding;
}

Finding wrong_rate_finding(double header_rate_hz, double ratio) {
  Finding finding;
  finding.code = "wrong-rate";
  finding.rate_hz = std::round(1e6 * header_rate_hz * ratio) / 1e6;  // whole where it is
  const auto hertz = [](double hz) {
    char text[32];
    std::snprintf(text, sizeof text, "%.10g Hz", hz);
    return std::string(text);
  };
  finding.text = "The file states " + hertz(header_rate_hz) + ", but it was recorded at " +
                 hertz(header_rate_hz * ratio) +
                 ". The map puts it right, and so does the stem; mend the original's header before "
                 "you cut with it.";
  return finding;
}

Finding missing_voice_finding(std::vector<Stretch> stretches, const NotStarted& not_started) {
  Finding finding;
  finding.code = "missing-voice";
  finding.text =
      "The mix holds somebody whom no track explains, " + times(stretches) + ", first at " +
      clock_text(stretches.front().line_from_s) + " of the timeline, lasting " +
      clock_text(total_s(stretches), 1) + " in all." +
      not_started_text(not_started, total_s(stretches)) +
      " Listen there, and ask for that person's recording while it can be had" +
      (not_started.names.empty() ? ", or for what a recorder that was started late has not."
                                 : ", or for what the late one has not.");
  finding.line_s = stretches.front().line_from_s;
  finding.stretches = std::move(stretches);
  return finding;
}

Finding mix_music_finding(std::vector<Stretch> stretches) {
  Finding finding;
  finding.code = "mix-music";
  finding.text = "The mix holds music that no track does, " + times(stretches) + ", first at " +
                 clock_text(stretches.front().line_from_s) + " of the timeline, lasting " +
                 clock_text(total_s(stretches), 1) +
                 " in all. Take it from the mix, or lay the original in.";
  finding.line_s = stretches.front().line_from_s;
  finding.stretches = std::move(stretches);
  return finding;
}

}  // namespace kilter::sync
