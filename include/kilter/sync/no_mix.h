// Sessions without a mix: tracks placed against each other by what they share.
#pragma once

#include <vector>

#include "kilter/base/result.h"
#include "kilter/sync/align.h"

namespace kilter::sync {

/// Two tracks that hear each other.
struct HeardPair {
  std::size_t a{0};
  std::size_t b{0};
  bool both_ways{false};  ///< else only `a` is heard in `b`
  double acoustic_s{
      0.0};  ///< from one talker to the other's microphone, mean of both ways; 0: unknown
  /// How far the pair contradicts the final placing: what its two ways differ by, as far as other
  /// pairs show it. 0 where no other pair does.
  double closure_s{0.0};
};

struct NoMixPlacing {
  int clock{-1};  ///< the track whose own time is the timeline; -1: no two tracks share anything
  std::vector<TrackPlacing> tracks;  ///< one per input, in order
  std::vector<HeardPair> pairs;
};

/// Places tracks, by straight lines, on the clock of the one that hears most others, or of one in
/// the largest group in which each hears the other. A first map for every pair, then windows in
/// which one talks alone, measured in every other track: the way through the air is late both ways,
/// the clocks' difference has opposite signs, so the mean of both ways tells them apart, as long as
/// the ways are equally long.
///
/// The clock's own track is firm, every other shaky: nothing in the sound proves that the ways are
/// equally long. The bound allows for 5 ms of difference (1.7 m), and for what loops of three or
/// more tracks contradict. Heard one way only, a network and a loudspeaker may be in the placing,
/// and are in the bound: half a second.
/// Unplaced: shares nothing. Bit-identical for any `threads`. Fails where a signal cannot be read.
/// Cost: a first map for every pair, and up to 80 windows of 3 s for each, twice.
Result<NoMixPlacing> place_without_mix(const std::vector<TrackInput>& tracks,
                                       const AlignOptions& options);

}  // namespace kilter::sync
