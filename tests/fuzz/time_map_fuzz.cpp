// Time maps of any spans: refused, or going forth and back to the same place, never backwards,
// alone and one after the other, and never to what is no number.
#include <algorithm>
#include <cmath>
#include <vector>

#include "fuzz.h"
#include "kilter/base/time_map.h"

namespace kilter::fuzz {
namespace {

/// One after the other, as the estimator makes them.
std::vector<Span> spans_in_a_row(Input& input) {
  std::vector<Span> spans;
  double track_s = input.number(-100.0, 100.0);
  double line_s = input.number(-100.0, 100.0);
  for (int count = input.whole(1, 6); count > 0; --count) {
    const double length_s = input.number(0.0, 1000.0);
    const double rate = input.flag() ? 1.0 + input.number(-1e-3, 1e-3) : input.number(0.1, 10.0);
    spans.push_back({track_s, track_s + length_s, line_s, line_s + length_s * rate, 1.0});
    track_s = spans.back().to_s + (input.flag() ? input.number(0.0, 10.0) : 0.0);
    line_s = spans.back().line_to_s + (input.flag() ? input.number(0.0, 10.0) : 0.0);
  }
  return spans;
}

std::vector<Span> any_spans(Input& input) {
  std::vector<Span> spans;
  for (int count = input.whole(0, 4); count > 0; --count)
    spans.push_back({input.any_number(), input.any_number(), input.any_number(), input.any_number(),
                     input.any_number()});
  return spans;
}

Result<TimeMap> map_from(Input& input) {
  switch (input.whole(0, 2)) {
    case 0:
      return TimeMap::make(spans_in_a_row(input));
    case 1:
      return TimeMap::make(any_spans(input));
    default:
      return TimeMap::line(input.any_number(), input.any_number(), input.any_number(), 1.0);
  }
}

double ulps(double at, double count) {
  return count * (std::nextafter(std::abs(at), INFINITY) - std::abs(at));
}

/// What rounding may do to a place on the timeline: to the track second that is asked for, and to
/// sums.
double line_slack(const Span& span) {
  const double track_s = std::max(std::abs(span.from_s), std::abs(span.to_s));
  const double line_s = std::max(std::abs(span.line_from_s), std::abs(span.line_to_s));
  return ulps(line_s, 4.0) + ulps(track_s, 4.0) * span.rate() +
         ulps(span.line_to_s - span.line_from_s, 8.0);
}

void try_span(const TimeMap& map, const Span& span, Input& input) {
  const double slack_s = line_slack(span);
  double before_s = span.line_from_s;
  std::vector<double> places;
  for (int i = 0; i < 4; ++i) places.push_back(input.number(0.0, 1.0));
  std::sort(places.begin(), places.end());
  for (const double part : places) {
    const double track_s = span.from_s + part * (span.to_s - span.from_s);
    if (!(track_s > span.from_s && track_s < span.to_s)) continue;
    const auto line_s = map.to_line(track_s);
    require(line_s.has_value(), "inside a span every track second has a place");
    require(*line_s >= span.line_from_s - slack_s && *line_s <= span.line_to_s + slack_s,
            "which lies inside the span");
    require(*line_s >= before_s, "time does not run backwards");
    before_s = *line_s;
    const double inside_s = std::clamp(*line_s, span.line_from_s, span.line_to_s);
    if (!(inside_s < span.line_to_s)) continue;  // there another span may begin
    const auto back_s = map.to_track(inside_s);
    require(back_s.has_value(), "and from there a way back");
    require(std::abs(*back_s - track_s) <= 2.0 * slack_s / span.rate() + ulps(track_s, 4.0),
            "to where it came from");
  }
}

void try_map(const TimeMap& map, Input& input) {
  require(!map.spans().empty(), "a map has spans");
  require(std::isfinite(map.start_s()) && std::isfinite(map.drift_ppm()),
          "its figures are numbers");
  for (const Span& span : map.spans()) {
    require(std::isfinite(span.rate()) && span.rate() > 0.0, "a rate is above 0");
    require(map.to_line(span.from_s) && map.to_track(span.line_from_s), "a span has its start");
    try_span(map, span, input);
  }
  for (const double at : {input.any_number(), input.any_number(), double{NAN}})
    for (const auto& there : {map.to_line(at), map.to_track(at)})
      require(!there || std::isfinite(*there), "no map leads to what is no number");
  require(!map.to_line(std::nextafter(map.spans().back().to_s, INFINITY)), "ends are ends");
}

/// From one track to another by the timeline.
void try_both(const TimeMap& from, const TimeMap& to) {
  const Span& first = from.spans().front();
  double before_s = -INFINITY;
  for (int i = 1; i <= 8; ++i) {
    const double track_s = first.from_s + (first.to_s - first.from_s) * i / 9.0;
    const auto line_s = from.to_line(track_s);
    const auto other_s = line_s ? to.to_track(*line_s) : std::nullopt;
    if (!other_s) continue;
    require(std::isfinite(*other_s), "two maps lead to a number");
    double slack_s = 0.0;  // at a border rounding decides on which side a place is taken
    for (const Span& span : to.spans())
      slack_s = std::max(slack_s, line_slack(span) / span.rate() + ulps(span.to_s, 4.0));
    require(*other_s >= before_s - slack_s, "and do not run backwards");
    before_s = *other_s;
  }
}

}  // namespace

void try_input(Input input) {
  const auto map = map_from(input);
  if (!map) {
    require_clear(map.error());
    return;
  }
  try_map(*map, input);
  const auto other = map_from(input);
  if (other) try_both(*map, *other);
}

}  // namespace kilter::fuzz
