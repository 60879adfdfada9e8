// Where a track's time lies on the timeline: sorted spans, linear inside, nothing between them.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "kilter/base/result.h"

namespace kilter {

/// One linear stretch. `from_s`..`to_s` is track time (seconds at the track's nominal rate, its
/// first frame at 0); `line_from_s`..`line_to_s` is the same stretch on the timeline.
struct Span {
  double from_s{0.0};
  double to_s{0.0};
  double line_from_s{0.0};
  double line_to_s{0.0};
  double uncertainty_us{0.0};  ///< 95 % bound on the placing inside this span

  /// Timeline seconds per track second; near 1.
  double rate() const { return (line_to_s - line_from_s) / (to_s - from_s); }
};

/// An immutable map between track time and timeline. Spans are checked once, here, so that no later
/// code meets an empty or unsorted map. All members are safe to call from many threads; a look-up
/// costs a binary search.
class TimeMap {
 public:
  /// Fails (unreadable) when there is no span, a bound is not finite or lies beyond +-1e9 s, a span
  /// is empty or runs backwards, its two lengths differ more than a millionfold, or two spans
  /// overlap in track time or on the timeline.
  static Result<TimeMap> make(std::vector<Span> spans);

  /// One span for a whole track: `line = start_s + track * (1 - drift_ppm * 1e-6)` to first order,
  /// exactly `start_s + track / (1 + drift_ppm * 1e-6)`. `length_s` above 0.
  static Result<TimeMap> line(double start_s, double drift_ppm, double length_s,
                              double uncertainty_us);

  std::span<const Span> spans() const { return spans_; }
  /// Timeline second of a track second, or nothing where no span holds it.
  std::optional<double> to_line(double track_s) const;
  /// Track second of a timeline second, or nothing where no span holds it.
  std::optional<double> to_track(double line_s) const;
  /// Timeline time of the track's first frame, extrapolated from the first span.
  double start_s() const;
  /// Mean drift over all spans.
  double drift_ppm() const;

 private:
  explicit TimeMap(std::vector<Span> spans) : spans_(std::move(spans)) {}
  std::vector<Span> spans_;
};

}  // namespace kilter
