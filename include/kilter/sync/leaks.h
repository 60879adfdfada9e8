// Who else is heard in a track than the one it belongs to, how late and how loud.
#pragma once

#include <atomic>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/sync/window_meter.h"

namespace kilter::sync {

/// A placed track, and what is known of where it was recorded.
struct LeakTrack {
  MappedTrack place;
  bool remote{false};
  std::vector<double> levels_db;  ///< of its seconds, from levels_db(): without them it never talks
};

/// Track `holder` also holds what track `from` recorded. They are the same where a track holds its
/// own voice a second time, as a return loop brings it about.
struct Leak {
  std::size_t holder{0};
  std::size_t from{0};
  double delay_s{0.0};   ///< on the timeline; above 0: later than in its own track
  double level_db{0.0};  ///< against the same voice in its own track
  double share{0.0};     ///< 0..1: of what the holder holds while only `from` talks
  double sigma{0.0};     ///< of the correlation's peak above chance
};

struct LeakOptions {
  int threads{1};
  /// Set from elsewhere to give up: it then fails with `interrupted` within a second or so.
  const std::atomic<bool>* stop{nullptr};
};

/// Listens where one track talks and the others do not, at most 40 stretches of 2 s per track, and
/// looks for the talker in each of the others within +-0.7 s. Bleed between room microphones, up to
/// 15 ms, is no leak. Leaks below -45 dB are not told, nor an own voice that returns within 80 ms
/// or below -30 dB. In order of holder, then of source. Bit-identical for any `threads`. Fails
/// where a signal cannot be read. Cost: 40 transforms of 32768 for every pair of tracks, however
/// long they are. Memory: 8 bytes per second of every track, and 0.4 MB per track and thread.
Result<std::vector<Leak>> find_leaks(const std::vector<LeakTrack>& tracks,
                                     const LeakOptions& options);

struct OwnLine {
  std::size_t index{0};  ///< of the map that is the track's own
  double evidence{
      0.0};            ///< share of the mix that the track adds to what the others explain, summed
  double margin{1.0};  ///< evidence over that of the next map; 1: no decision
  std::vector<double> shares;  ///< the same as `evidence`, of each map
  /// `evidence` over what each map has more of it than the chosen one, window by window: large too
  /// where a track holds its own voice once more; after a step both have windows of their own.
  std::vector<double> margins;
};

/// Which of several maps puts a track's own voice where the mix has it, and not a leak: where the
/// track adds to what the other tracks explain of the mix. Measured in up to 12 windows of 6 s, the
/// track's loudest and an even choice. `maps` not empty; they and those of `others`, the other
/// tracks as far as they are placed, good to 20 ms. `mix` time is the timeline.
/// Fails where a signal cannot be read. Cost: 12 windows per map, of 94 transforms of 2048 per
/// track.
Result<OwnLine> choose_own_line(const AnalysisSignal& mix, const std::vector<MappedTrack>& others,
                                const AnalysisSignal& track, const std::vector<TimeMap>& maps);

}  // namespace kilter::sync
