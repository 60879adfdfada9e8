// How far a track's map departs from a straight line.
#pragma once

#include <vector>

#include "kilter/base/time_map.h"
#include "kilter/report/report_page.h"

namespace kilter::report {

struct DeparturePoint {
  double line_s{0.0};
  double offset_us{0.0};  ///< later than the straight line: positive
  double bound_us{0.0};
};

/// Between two places where the map steps or pauses. Every section has the straight line of the
/// track's mean drift, laid so that the section departs from it by nothing on average: a step of
/// seconds would leave nothing to see of microseconds.
struct DepartureSection {
  double step_s{0.0};  ///< of the map where the section begins: what was lost is positive
  std::vector<DeparturePoint> points;
};
/// Of a map of at least one span.
std::vector<DepartureSection> departure_of(const TimeMap& map);

/// A window beside the same lines: where, and how far off it was measured.
struct DepartureWindow {
  double line_s{0.0};
  double offset_us{0.0};
  double sigma_us{0.0};
  double weight{0.0};
};
/// Those that the map holds.
std::vector<DepartureWindow> windows_beside(const TimeMap& map,
                                            const std::vector<DepartureSection>& sections,
                                            const std::vector<MeasuredWindow>& windows);

/// A round number of microseconds that holds the map with its bound, and nineteen windows of twenty
/// that were used; without its bound where that would leave nothing to see of the windows.
double scale_us(const std::vector<DepartureSection>& sections,
                const std::vector<DepartureWindow>& windows);

}  // namespace kilter::report
