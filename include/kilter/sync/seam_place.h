// Where exactly a recording was cut.
#pragma once

#include <vector>

#include "kilter/signal/analysis_signal.h"

namespace kilter::sync {

/// A clock near one place: mix = start + rate * track.
struct LocalLine {
  double start_s{0.0};
  double rate{1.0};
  double to_track(double mix_s) const { return (mix_s - start_s) / rate; }
  double to_mix(double track_s) const { return start_s + rate * track_s; }
};

/// A track that has the seam.
struct SeamWitness {
  const AnalysisSignal* signal{nullptr};
  LocalLine before;
  LocalLine after;
};

/// A track that has it not, and is heard there.
struct SteadyTrack {
  const AnalysisSignal* signal{nullptr};
  LocalLine line;
};

/// Which file the seam is in, as far as that is known beforehand.
enum class SeamIn { track, either, mix };

/// The seam, in the mix's time and in the first witness's.
struct SeamPlace {
  double mix_end_s{0.0};   ///< where what lies before the seam ends
  double mix_from_s{0.0};  ///< where what lies after it begins; the same or later
  double track_end_s{0.0};
  double track_from_s{0.0};  ///< the same or later
  bool zeros{false};         ///< a run of exact zeros, in the track or the mix, is part of it
  bool mix_padded{false};    ///< it is in the mix, and as long as the step
  bool repeated{false};      ///< the track, or the mix, holds the same stretch twice
  double earliest_s{0.0};    ///< between these mix seconds `mix_end_s` explains as much, or nearly
  double latest_s{0.0};
  bool in_speech{false};   ///< it cuts through sound: no pause gives it room
  double over_first{0.0};  ///< how much more of the mix's power it explains than a seam at `from_s`
  double over_last{0.0};   ///< and than one at `to_s`; the same units for the same witnesses
  double chance_first{0.0};  ///< how much of either what else sounds makes: one standard deviation
  double chance_last{0.0};
  double heard_before{0.0};  ///< what the line before explains before the place, the same units;
  double heard_after{0.0};   ///< over_first holds as well what the line after belies there
  double speech{0.0};        ///< what 5 ms of loud speech bring, in the same units
  double explained{0.0};     ///< of all that was looked at, in the same units
  double loose_s{0.0};       ///< so far off it may be, over sound that fits neither line or both
};

/// Looks between mix seconds `from_s` and `to_s` for the place where the line before explains the
/// mix up to it, and the line after from there on. `step_s`, the same for all witnesses, is how
/// much later the line after lies. Where a pause leaves the place open, the quietest point is
/// taken; a run of zeros or a repeated stretch is the seam itself: the track's, or if the seam may
/// be in the mix, the mix's. At least one witness; what the `steady` tracks explain of the mix is
/// no evidence. Cost: a few operations per sample of the stretch and pair of tracks. Fails where a
/// signal cannot be read.
Result<SeamPlace> place_seam(const AnalysisSignal& mix, const std::vector<SeamWitness>& witnesses,
                             double step_s, double from_s, double to_s,
                             const std::vector<SteadyTrack>& steady = {},
                             SeamIn seam_in = SeamIn::track);

}  // namespace kilter::sync
