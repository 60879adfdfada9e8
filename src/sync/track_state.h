// What is known of each track while the session is being aligned.
#pragma once

#include <cmath>
#include <optional>
#include <vector>

#include "kilter/base/time_map.h"
#include "kilter/sync/clock_fit.h"
#include "kilter/sync/first_map.h"
#include "kilter/sync/line_fit.h"
#include "kilter/sync/strays.h"
#include "kilter/sync/window_meter.h"

namespace kilter::sync {

/// A stretch of a track on one level of its clock.
struct Piece {
  double from_s{0.0};  // track seconds
  double to_s{0.0};
  int level{0};
};

/// A window in which the track itself is heard beyond doubt, and where.
struct ClearWindow {
  double track_s{0.0};
  double mix_s{0.0};
};

/// One window's reading of a track.
struct Measured {
  double at_s{0.0};     // middle of the window in the mix
  double track_s{0.0};  // what of the track the map put there
  double mix_s{0.0};    // where that is heard
  double sigma_s{0.0};
  int piece{0};  // that it lies on, or its lane
  Reading reading;
};

/// Where a track's offset from its clock steps. Found in the track itself first.
struct Step {
  double mix_from_s{0.0};  // the last that is known to lie before it, and the first after it
  double mix_to_s{0.0};
  double step_s{0.0};  // what follows is heard so much later
  int level{0};        // that ends here; the next one begins
};

/// Lanes from here on hold strays (below: those of the first map).
inline constexpr int kScoutLanes = 1000;

/// A voice's way across a room: so late at the most a neighbour is heard.
inline constexpr double kNeighbour_s = 0.012;

/// A voice's way through a network, a loudspeaker and back: so late at the most it leaks.
inline constexpr double kLeakReach_s = 0.8;

/// A stretch of the mix in which a guest's stream was so much late, or early.
struct HeldBack {
  double mix_from_s{0.0};
  double mix_to_s{0.0};
  double late_s{0.0};
};

struct TrackState {
  bool placed{false};
  /// A mix itself, or a copy: it would explain everything, so it is measured alone.
  bool apart{false};
  double length_s{0.0};
  double rate_ratio{1.0};  // file seconds per second of track time: not 1 under a wrong header
  FirstMap first;
  std::vector<double> leak_lags_s;  // at which others leak into it
  // At which it holds others who hold it as well: loudly, or it would not have seemed its own.
  std::optional<double> mutual_lag_s;
  /// Track to mix time up to the fine pass, to the timeline after it. Levels are the track's own
  /// until its recorder is known, the recorder's then.
  ClockCurve curve;
  std::vector<Piece> pieces;
  double lanes_drift_ppm{0.0};  // with which the first pieces were told apart
  std::optional<TimeMap> map;   // track to mix time, for measuring

  std::vector<Measured> measured;  // of the latest pass
  std::vector<double> weights;     // one per measured, 0..1: its say in the fit
  int used{0};
  double used_share{0.0};  // of all the say, what the fit holds
  ClockFit fit;
  std::vector<ClearWindow> clear;  // of the fine pass
  std::vector<double> restless;    // middles of fine windows in which the track was not clear
  std::vector<Step> steps;
  double splice_s{0.0};  // of a stream that is spliced instead of drifting; 0: none
  int splices{0};        // of them
  int recorder{-1};
  std::vector<Measured> scouts;  // strays that were given a level of their own, as windows
  std::vector<Stray> strays;     // what is heard elsewhere and lies on no level
  // What the mix does not hold where the map puts it; nothing where that was not looked for.
  std::optional<std::vector<Missing>> missing;
  std::vector<Stray> moved;    // what a stream's buffer held back for a moment
  std::vector<HeldBack> held;  // and for longer
  bool streamed{false};  // a guest, or alone with the mix: a network may have carried it there
  bool faint{false};     // between two seams hardly anything of its own is heard
  std::optional<std::size_t> shares_with;  // an unplaced track that holds the same sound
  std::optional<std::size_t> louder_in;    // the track whose voice it holds, and hardly its own
  std::optional<double> shared_stray_s;    // so far off are several tracks at once: perhaps the mix
  std::optional<double> unvouched_s;       // a guest talks near there, and no window says where

  /// How far the used windows together stand above chance.
  double evidence_sigma() const {
    double sum = 0.0;
    for (std::size_t i = 0; i < measured.size() && i < weights.size(); ++i)
      if (weights[i] > 0.1) sum += measured[i].reading.peak_sigma * measured[i].reading.peak_sigma;
    return std::sqrt(sum);
  }
  double support() const { return used * used_share; }
  double drift_ppm() const { return (1.0 / curve.rate - 1.0) * 1e6; }
  double start_s() const { return curve.line_s(pieces.front().level, 0.0); }
};

}  // namespace kilter::sync
