// Where a second of the timeline lies in drawings that span the whole of it.
#pragma once

#include <string>
#include <vector>

#include "kilter/base/lineup.h"

namespace kilter::report {

/// A drawing is so many units wide, whatever it spans, and 100 high.
inline constexpr double kAxisUnits = 100000.0;

struct Axis {
  double from_s{0.0};
  double to_s{1.0};

  double share(double line_s) const { return (line_s - from_s) / (to_s - from_s); }
  double unit(double line_s) const { return kAxisUnits * share(line_s); }
};

/// Of the mix and every placed track.
Axis axis_of(const Lineup& lineup);

/// ` style="left:12.5%"`, and the width where the stretch has one: for what lies over a drawing.
std::string style_at(const Axis& axis, double line_s);
std::string style_at(const Axis& axis, const Stretch& stretch);

/// Round times within, at most `most` of them.
std::vector<double> ticks_of(const Axis& axis, int most);

/// Spans that follow each other without a gap, as one.
std::vector<Stretch> runs_of(const std::vector<Span>& spans);

}  // namespace kilter::report
