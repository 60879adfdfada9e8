#include "axis.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "markup.h"

namespace kilter::report {
namespace {

std::string percent(double share) { return short_number(100.0 * share, 4) + '%'; }

}  // namespace

Axis axis_of(const Lineup& lineup) {
  Axis axis{lineup.from_s, lineup.to_s};
  const auto hold = [&](const Span& first, const Span& last) {
    axis.from_s = std::min(axis.from_s, first.line_from_s);
    axis.to_s = std::max(axis.to_s, last.line_to_s);
  };
  if (lineup.mix && !lineup.mix->spans.empty())
    hold(lineup.mix->spans.front(), lineup.mix->spans.back());
  for (const LineupTrack& track : lineup.tracks)
    if (track.map) hold(track.map->spans().front(), track.map->spans().back());
  if (axis.to_s <= axis.from_s) axis.to_s = axis.from_s + 1.0;
  return axis;
}

std::string style_at(const Axis& axis, double line_s) {
  return " style=\"left:" + percent(axis.share(line_s)) + '"';
}

std::string style_at(const Axis& axis, const Stretch& stretch) {
  return " style=\"left:" + percent(axis.share(stretch.line_from_s)) +
         ";width:" + percent(axis.share(stretch.line_to_s) - axis.share(stretch.line_from_s)) + '"';
}

std::vector<double> ticks_of(const Axis& axis, int most) {
  constexpr std::array kSteps_s{0.1,    0.2,    0.5,    1.0,     2.0,     5.0,     10.0,
                                15.0,   30.0,   60.0,   120.0,   300.0,   600.0,   900.0,
                                1800.0, 3600.0, 7200.0, 10800.0, 21600.0, 43200.0, 86400.0};
  double step_s = kSteps_s.back();
  for (const double each : kSteps_s)
    if ((axis.to_s - axis.from_s) / each <= most) {
      step_s = each;
      break;
    }
  while ((axis.to_s - axis.from_s) / step_s > most) step_s *= 2.0;
  std::vector<double> ticks;
  for (double i = std::ceil(axis.from_s / step_s); i * step_s <= axis.to_s; i += 1.0)
    ticks.push_back(i * step_s);
  return ticks;
}

std::vector<Stretch> runs_of(const std::vector<Span>& spans) {
  constexpr double kNoGap_s = 1e-3;
  std::vector<Stretch> runs;
  for (const Span& span : spans) {
    if (!runs.empty() && span.line_from_s - runs.back().line_to_s < kNoGap_s)
      runs.back().line_to_s = span.line_to_s;
    else
      runs.push_back({span.line_from_s, span.line_to_s});
  }
  return runs;
}

}  // namespace kilter::report
