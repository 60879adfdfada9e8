// Stretches of a track that the mix holds elsewhere than the track's map says, or nowhere.
#pragma once

#include <atomic>
#include <vector>

#include "kilter/sync/window_meter.h"

namespace kilter::sync {

/// A second or so of a track that is heard elsewhere.
struct Stray {
  double track_s{0.0};      ///< its middle
  double mapped_s{0.0};     ///< mix second at which the map puts that
  double mix_s{0.0};        ///< and where it is heard
  double peak_sigma{0.0};   ///< height of the match over what chance gives
  double correlation{0.0};  ///< of both sounds there, their spectra levelled; 0..1
  /// Before and after it, between the same seams, what the track says is in place.
  bool amid_others{false};
};

/// A second or so of a track that the mix does not hold where the map puts it.
struct Missing {
  double track_s{0.0};   ///< where it begins
  double mapped_s{0.0};  ///< mix second at which the map puts that
  double loud_s{0.0};    ///< how long it is loud
};

/// Seconds of it that are loud.
double loud_s(const std::vector<Missing>& missing);

/// What of a track is not in its place.
struct Whereabouts {
  std::vector<Stray> elsewhere;  ///< in order of track time
  /// What is missing within the mix, found elsewhere or not, in order of track time.
  std::vector<Missing> missing;
  bool is_all{true};  ///< false where so much is missing that not all was looked for
  /// What is found nowhere in reach, at an end of its stretch between two seams: before all that is
  /// in place there, or after it.
  std::vector<Missing> nowhere;
  /// Mix seconds between which the track is in place for certain; the first behind the last where
  /// it hardly is.
  double in_place_from_s{1e300};
  double in_place_to_s{-1e300};
  /// Of the stretches between two seams of the map, the one with the fewest loud blocks in place.
  int least_in_place{0};
};

struct StrayOptions {
  double search_s{6.0};  ///< to both sides of the map, at most 6
  /// And so far for what is found nowhere at an end of its stretch, where it goes on for a second
  /// or more: some words before a long loss, too few for the first map.
  double far_s{360.0};
  double least_s{0.015};  ///< nearer, a microphone may hear a neighbour
  const std::atomic<bool>* stop{nullptr};
};

/// Goes through all that the track says, in blocks of a quarter of a second: where it is loud and
/// the mix does not hold it at the place of the map, the whole neighbourhood is searched for it. A
/// fault whose one side holds a few words only, too few for a window, shows in this way. What the
/// map puts up to `search_s` beyond the mix's ends is searched for in it as well, and is nowhere by
/// right where it is not found. `track` maps to the mix's time; it should be right to a tenth of a
/// millisecond where it is right.
///
/// Cost: a few operations per sample, and per phrase that is missing at its place three transforms
/// of 2^18; per end of a stretch at which some are found nowhere, as many per ten seconds of
/// `far_s`. Fails where a signal cannot be read.
Result<Whereabouts> find_strays(const AnalysisSignal& mix, const MappedTrack& track,
                                const StrayOptions& options);

}  // namespace kilter::sync
