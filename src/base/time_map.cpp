#include "kilter/base/time_map.h"

#include <algorithm>
#include <cmath>

namespace kilter {
namespace {

// Thirty years: a position in frames stays a whole number at any rate.
constexpr double kFarthest_s = 1e9;
// Clocks differ by parts per million; this only keeps arithmetic within its bounds.
constexpr double kLargestRate = 1e6;

Error malformed(const char* what) {
  return {ErrorKind::unreadable, {}, what, "align the session again, or mend the spans by hand"};
}

}  // namespace

Result<TimeMap> TimeMap::make(std::vector<Span> spans) {
  if (spans.empty()) return malformed("a time map needs at least one span");
  for (std::size_t i = 0; i < spans.size(); ++i) {
    const Span& span = spans[i];
    for (const double bound : {span.from_s, span.to_s, span.line_from_s, span.line_to_s})
      if (!(std::abs(bound) <= kFarthest_s))
        return malformed("a bound of a span is not a number from -1e9 to 1e9 seconds");
    if (!(span.from_s < span.to_s) || !(span.line_from_s < span.line_to_s))
      return malformed("a span is empty or runs backwards");
    if (!(span.rate() <= kLargestRate && span.rate() >= 1.0 / kLargestRate))
      return malformed("a span is far longer on one side than on the other");
    if (i == 0) continue;
    const Span& before = spans[i - 1];
    if (span.from_s < before.to_s || span.line_from_s < before.line_to_s)
      return malformed("spans overlap or are not in order");
  }
  return TimeMap(std::move(spans));
}

Result<TimeMap> TimeMap::line(double start_s, double drift_ppm, double length_s,
                              double uncertainty_us) {
  const double line_length_s = length_s / (1.0 + drift_ppm * 1e-6);
  return make({Span{0.0, length_s, start_s, start_s + line_length_s, uncertainty_us}});
}

std::optional<double> TimeMap::to_line(double track_s) const {
  const auto after = std::upper_bound(spans_.begin(), spans_.end(), track_s,
                                      [](double t, const Span& span) { return t < span.from_s; });
  if (after == spans_.begin()) return std::nullopt;
  const Span& span = *std::prev(after);
  if (!(track_s <= span.to_s)) return std::nullopt;  // nor does one hold what is no number
  return span.line_from_s + (track_s - span.from_s) * span.rate();
}

std::optional<double> TimeMap::to_track(double line_s) const {
  const auto after =
      std::upper_bound(spans_.begin(), spans_.end(), line_s,
                       [](double t, const Span& span) { return t < span.line_from_s; });
  if (after == spans_.begin()) return std::nullopt;
  const Span& span = *std::prev(after);
  if (!(line_s <= span.line_to_s)) return std::nullopt;
  return span.from_s + (line_s - span.line_from_s) / span.rate();
}

double TimeMap::start_s() const {
  const Span& first = spans_.front();
  return first.line_from_s - first.from_s * first.rate();
}

double TimeMap::drift_ppm() const {
  double track_s = 0.0;
  double line_s = 0.0;
  for (const Span& span : spans_) {
    track_s += span.to_s - span.from_s;
    line_s += span.line_to_s - span.line_from_s;
  }
  return (track_s / line_s - 1.0) * 1e6;
}

}  // namespace kilter
