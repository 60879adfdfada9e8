#include "elsewhere.h"

#include <algorithm>
#include <cmath>

#include "held_back.h"
#include "recorders.h"

namespace kilter::sync {
namespace {

constexpr double kStep_s = 0.5e-3;         // off the line by so much, a clear window contradicts it
constexpr double kHalfWindow_s = 3.0;      // a window there may still hear into a hole
constexpr double kStrayShare = 0.08;       // of the clear windows may do so by chance,
constexpr double kStrayShareRemote = 0.3;  // or while a network stream holds a guest back
constexpr double kStreamReach_s = 0.075;
constexpr double kFarOff_s = 0.040;  // for votes of the first map, which are coarse
constexpr double kStrongVote = 12.0;
constexpr double kStrayVoteShare = 0.35;  // of the strongest vote on the line
constexpr double kChunk_s = 60.0;         // of a vote
constexpr double kLittle_s = 1.0;         // of talk
constexpr double kSearched_s = 6.0;       // to both sides, for strays
constexpr double kLeakDelay_s = 1.5e-3;   // that one is known to
constexpr double kLeastApart_s = 15e-3;   // of two leaks of one voice

/// How far from where the track's spans put it; nothing where no span holds it.
std::optional<double> off_map_s(const TrackState& state, double track_s, double mix_s) {
  const auto mapped_s = state.map->to_line(track_s);
  if (!mapped_s) return std::nullopt;
  return mix_s - *mapped_s;
}

/// The first and the last of some seconds of the mix.
struct Ends {
  double from_s{1e300};
  double to_s{-1e300};
  int count{0};
  void add(double mix_s) {
    from_s = std::min(from_s, mix_s);
    to_s = std::max(to_s, mix_s);
    ++count;
  }
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

/// Whether a window may be off by so much because a voice leaks into this track and into another,
/// not equally late: the joint solution then sets one leak off against the other. Leaks hardly
/// apart are left out, for any two microphones of a room differ by as much.
bool is_between_leaks(const std::vector<Leak>& leaks, std::size_t track, double off_s) {
  if (std::abs(off_s) < kLeastApart_s) return false;
  for (const Leak& here : leaks) {
    if (here.holder != track) continue;
    for (const Leak& there : leaks)
      if (there.holder != track && there.from == here.from &&
          std::abs(there.delay_s - here.delay_s - off_s) < kLeakDelay_s)
        return true;
  }
  return false;
}

/// Whether the mix holds all that the chunk of a vote says where the map puts it: then what fits
/// elsewhere as well is there twice.
bool is_in_place(const Evidence& evidence, const TrackState& state, const Vote& vote) {
  if (!state.missing) return false;
  const double from_s = std::max(0.0, vote.track_s - 0.5 * kChunk_s);
  const double to_s = std::min(state.length_s, vote.track_s + 0.5 * kChunk_s);
  for (double track_s = from_s; track_s < to_s; track_s += 1.0) {
    const auto mix_s = state.map->to_line(track_s);
    if (!mix_s || *mix_s < 0.0 || *mix_s > evidence.mix.length_s) return false;
  }
  std::vector<Missing> missing = *state.missing;
  std::erase_if(missing,
                [&](const Missing& each) { return each.track_s < from_s || each.track_s > to_s; });
  return loud_s(missing) < kLittle_s;
}

}  // namespace

bool is_leak(const std::vector<Leak>& leaks, std::size_t track, double off_s) {
  return std::any_of(leaks.begin(), leaks.end(), [&](const Leak& leak) {
    return leak.holder == track && std::abs(off_s + leak.delay_s) < kLeakDelay_s;
  });
}

int clear_windows_on_line(const TrackState& state) {
  int count = 0;
  for (const ClearWindow& window : state.clear) {
    const auto off_s = off_map_s(state, window.track_s, window.mix_s);
    if (off_s && std::abs(*off_s) < std::max(kStep_s, state.splice_s)) ++count;
  }
  return count;
}

double unheard_start_s(const TrackState& state) {
  double first_s = state.length_s;
  for (const ClearWindow& window : state.clear) {
    const auto off_s = off_map_s(state, window.track_s, window.mix_s);
    if (off_s && std::abs(*off_s) < kStep_s) first_s = std::min(first_s, window.track_s);
  }
  return first_s;
}

double unheard_end_s(const TrackState& state) {
  double last_s = 0.0;
  for (const ClearWindow& window : state.clear) {
    const auto off_s = off_map_s(state, window.track_s, window.mix_s);
    if (off_s && std::abs(*off_s) < kStep_s) last_s = std::max(last_s, window.track_s);
  }
  return state.length_s - last_s;
}

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
    if (is_leak(evidence.leaks, track, *off_s) || is_between_leaks(evidence.leaks, track, *off_s) ||
        is_held_back(state, window.mix_s, *off_s))
      continue;
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
    // A vote is of a minute.
    if (std::any_of(state.held.begin(), state.held.end(), [&](const HeldBack& held) {
          const double mix_s = vote.track_s + vote.lag_s;
          return mix_s > held.mix_from_s - kChunk_s && mix_s < held.mix_to_s + kChunk_s &&
                 std::abs(off - std::abs(held.late_s)) < kFarOff_s;
        }))
      continue;
    // Nearer, all that it says has been looked for, and found in its place.
    const double least_s = state.apart || state.splice_s > 0.0 ? kFarOff_s : kSearched_s;
    if (off < least_s || vote.sigma <= std::max(kStrongVote, kStrayVoteShare * strongest_on) ||
        is_in_place(evidence, state, vote))
      continue;
    if (!first) first = Elsewhere{vote.track_s, off};
    first->track_s = std::min(first->track_s, vote.track_s);
    first->off_s = std::max(first->off_s, off);
  }
  return first;
}

std::optional<UnseenStep> step_unseen_by(const Evidence& evidence, std::size_t track) {
  const TrackState& state = evidence.states[track];
  double first_s = 1e300;
  double last_s = -1e300;
  for (std::size_t i = 0; i < state.measured.size(); ++i) {
    if (state.weights[i] <= 0.1) continue;
    first_s = std::min(first_s, state.measured[i].at_s);
    last_s = std::max(last_s, state.measured[i].at_s);
  }
  for (std::size_t j = 0; j < evidence.states.size(); ++j) {
    const TrackState& other = evidence.states[j];
    if (j == track || !other.placed || other.apart || other.recorder == state.recorder) continue;
    Ends strays;
    Ends in_place;
    double off_s = 0.0;
    for (const ClearWindow& window : other.clear) {
      const auto off = off_map_s(other, window.track_s, window.mix_s);
      if (!off || is_leak(evidence.leaks, j, *off) || is_held_back(other, window.mix_s, *off))
        continue;
      const bool is_stray = std::abs(*off) > std::max(kNeighbour_s, other.splice_s);
      (is_stray ? strays : in_place).add(window.mix_s);
      if (is_stray) off_s = std::max(off_s, std::abs(*off));
    }
    for (std::size_t i = 0; i < other.measured.size(); ++i)
      if (other.weights[i] > 0.1) in_place.add(other.measured[i].at_s);
    const bool moved_before = strays.to_s < in_place.from_s;  // strays, then what is in place
    const bool moved_after = strays.from_s > in_place.to_s;
    if (strays.count < 2 || in_place.count == 0 || !(moved_before || moved_after)) continue;
    const auto spans = state.map->spans();
    if (moved_before && first_s > strays.to_s && spans.front().line_from_s < strays.to_s)
      return UnseenStep{j, 0.5 * (strays.to_s + in_place.from_s), off_s};
    if (moved_after && last_s < strays.from_s && spans.back().line_to_s > strays.from_s)
      return UnseenStep{j, 0.5 * (strays.from_s + in_place.to_s), off_s};
  }
  return std::nullopt;
}

}  // namespace kilter::sync
