// One window of the mix explained by all tracks together, and where each track then stands.
#pragma once

#include <memory>
#include <vector>

#include "kilter/base/time_map.h"
#include "kilter/signal/analysis_signal.h"
#include "kilter/signal/fft.h"

namespace kilter::sync {

/// A track and where it is believed to lie.
struct MappedTrack {
  const AnalysisSignal* signal{nullptr};
  const TimeMap* map{nullptr};
};

/// What one window says of one track.
struct Reading {
  bool heard{false};         ///< the rest means something
  double offset_s{0.0};      ///< the mix has the track so much later than its map says
  double sigma_s{0.0};       ///< standard error from the phase noise of the window
  double peak_sigma{0.0};    ///< height of the peak over what chance gives
  double coherence{0.0};     ///< 0..1: how well one delay explains the phase of the band
  double dispersion_s{0.0};  ///< delay in the upper half of the evidence less that in the lower
  double rival{0.0};         ///< next peak elsewhere, as a share of the main one
  bool inverted{false};
};

struct MeterOptions {
  double search_s{0.020};  ///< +- round the map, at most 0.12
  /// Off: every track alone against the mix, as if the others did not exist.
  bool joint{true};
};

/// Measures windows of the mix. The frames of all tracks (4096 at 16 kHz, Hann, half overlap) are
/// taken through their maps at the nearest whole frame, the rest put in as a phase ramp; per
/// frequency the filters H that explain the mix are solved from the tracks' cross-spectral matrix,
/// R H = q. A track's delay is read from the phase of its H, each frequency weighted by how much of
/// the mix the track explains there beyond the others (its partial coherence; the weighting of
/// Hannan and Thomson, 1971, soft-limited so that a few harmonics do not decide alone).
/// Not thread-safe: one meter per thread; it keeps its buffers from window to window.
class WindowMeter {
 public:
  explicit WindowMeter(const MeterOptions& options);
  ~WindowMeter();
  WindowMeter(WindowMeter&&) noexcept;

  /// Window of `length_s` (at least 0.5) from timeline second `from_s`. One reading per track, in
  /// order; a track that lies elsewhere or is digitally silent is not heard. At most a few dozen
  /// tracks: the cost per window grows with frames times tracks squared.
  Result<std::vector<Reading>> measure(const AnalysisSignal& mix,
                                       const std::vector<MappedTrack>& tracks, double from_s,
                                       double length_s);

 private:
  struct Buffers;
  MeterOptions options_;
  std::unique_ptr<Buffers> buffers_;
};

}  // namespace kilter::sync
