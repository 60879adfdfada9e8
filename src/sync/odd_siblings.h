// Tracks that look like one recorder's, and yet differ: one of them may have lost something.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "elsewhere.h"
#include "evidence.h"
#include "track_state.h"

namespace kilter::sync {

/// A track of the same length that begins together with this one on another line, where no
/// majority of such tracks stands on this one's.
std::optional<std::size_t> unlike_sibling(const std::vector<TrackState>& states, std::size_t k);

/// A track of the same length on another recorder, where one of the two has a seam, or begins
/// further away than a neighbour's voice: had it lost something alone, it would be shorter.
std::optional<std::size_t> sibling_with_a_seam(const std::vector<TrackState>& states,
                                               std::size_t k);

/// The largest difference between two tracks' starts on any of their levels.
double furthest_start_s(const TrackState& a, const TrackState& b);

/// A track of the same recorder and length, parts of which are heard elsewhere: what a recorder
/// lost, all its tracks did.
struct StraySibling {
  std::size_t track{0};
  Elsewhere part;
};

std::optional<StraySibling> sibling_with_strays(const Evidence& evidence, std::size_t k);

/// Of two of one recorder.
struct OddLength {
  std::size_t other{0};
  double longer_s{0.0};
};

/// A recorder ends all its files together. Of one that is longer or shorter than all others, by
/// what no seam explains, and that says nothing towards its end, a stretch may be lost or doubled.
std::optional<OddLength> odd_length(const Evidence& evidence, std::size_t track);

/// Of one that has lost or doubled something alone, by how much its length and its siblings' say
/// otherwise, where that is less than a neighbour's voice comes late by: behind the seam it may
/// have been heard by such a voice alone.
std::optional<OddLength> odd_step(const Evidence& evidence, std::size_t track);

/// A track of another recorder, and by how much longer before their common end this one is.
struct OddStart {
  std::size_t other{0};
  double longer_s{0.0};
  bool ends_together{false};
};

/// Two that drift alike and end together, or begin within a second of each other, are of one
/// recorder, which begins all its files together. Of one that says nothing towards its beginning, a
/// stretch may be lost or doubled there.
std::optional<OddStart> odd_start(const Evidence& evidence, std::size_t track);

}  // namespace kilter::sync
