// How far tracks stand from where a map says: measured afresh, for finished stems as well as for a
// lineup. Believes nothing but the maps it is given, and asks of each whether the mix bears it out.
#pragma once

#include <atomic>
#include <functional>
#include <span>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/sync/window_meter.h"

namespace kilter::sync {

/// One window of the mix in which a track has something to say.
struct ResidualWindow {
  double line_s{0.0};    ///< its middle
  double late_s{0.0};    ///< how much later the track stands than the mix has it
  double sigma_s{0.0};   ///< standard error
  bool clear{false};     ///< one delay explains it; else the track sounds, and the mix says nothing
  bool inverted{false};  ///< clear, and upside down against the mix
};

struct ResidualOptions {
  double search_s{0.1};  ///< how far off a track is found, +-; at most 0.12
  int threads{1};
  std::function<void(double done)> progress;  ///< from the calling thread; may be empty
  /// Set from elsewhere to give up: it then fails with `interrupted` within a second or so.
  const std::atomic<bool>* stop{nullptr};
};

/// Windows of 6 s (2.5 to 6 in sessions below 90 s) one after the other through the mix, each
/// explained by all tracks together. One list per track, in order of time; a window in which the
/// track is quieter than its talk is not in it. Same result for any `threads`. Fails where a signal
/// cannot be read, and with `interrupted`. Cost: 28 000 transforms of 4096 per track-hour. Memory:
/// 40 bytes per window and track, and 40 MB per thread.
Result<std::vector<std::vector<ResidualWindow>>> measure_residuals(
    const AnalysisSignal& mix, double mix_length_s, const std::vector<MappedTrack>& tracks,
    const ResidualOptions& options);

/// A stretch that stands on one line against the mix.
struct ResidualRun {
  double from_s{0.0};  ///< middle of its first clear window
  double to_s{0.0};    ///< and of its last one
  double late_s{0.0};  ///< at the middle of the stretch
  double slope{0.0};   ///< seconds later per second; 0 for fewer than three windows
  double sigma_s{0.0};
  double slope_sigma{0.0};
  int windows{0};

  double middle_s() const { return 0.5 * (from_s + to_s); }
  double at(double line_s) const { return late_s + slope * (line_s - middle_s()); }
  double sigma_at(double line_s) const;
};

/// A stretch in which the mix departs from the track and comes back: a network stream's doing.
struct PassingDeparture {
  double from_s{0.0};
  double to_s{0.0};
  double late_s{0.0};  ///< the furthest
};

/// A stretch that is upside down against the mix, or of a track that mostly is, upright.
struct TurnedStretch {
  double from_s{0.0};
  double to_s{0.0};
};

struct Residual {
  std::vector<ResidualRun> runs;  ///< the track's own, in order; none: no evidence
  std::vector<PassingDeparture> passing;
  /// The mix plays the track in stairs: its stream is spliced instead of drifting. Then `runs` is
  /// the one line through them, and `stair_s` the height of a stair.
  bool in_stairs{false};
  double stair_s{0.0};
  int speaking{0};  ///< windows in which the track sounds
  int clear{0};
  int inverted{0};
  std::vector<TurnedStretch> turned;  ///< three clear windows in a row and more
  double unheard_from_s{0.0};         ///< where the first of those below lies
  int unheard_in_a_row{0};            ///< the most windows in a row that the mix does not bear out
  double worst_s{0.0};                ///< furthest from 0 over all runs, with its sign
  double worst_at_s{0.0};             ///< timeline
  double uncertainty_s{0.0};          ///< 95 % bound on worst_s

  /// Whether enough of what the track says is borne out by the mix, near its map: three windows,
  /// or two on one line where it sounds in no other.
  bool has_evidence() const;
};

/// Parts the windows of one track into stretches on a line each (least squares with a price per
/// stretch, solved exactly by dynamic programming over the windows), and tells the track's own from
/// what passes: a short stretch whose neighbours agree with each other and are no
/// further apart than `passes_within_s` (0 for a track that no stream brought into the mix). A step
/// from one lasting line to another is the track's own, and so is a slope. Cost: the square of the
/// number of windows.
Residual judge_residuals(std::span<const ResidualWindow> windows, double passes_within_s = 45.0);

}  // namespace kilter::sync
