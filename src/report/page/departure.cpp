#include "departure.h"

#include <algorithm>
#include <cmath>
#include <optional>

namespace kilter::report {
namespace {

constexpr double kLeastStep_s = 10e-6;
constexpr double kLeastGap_s = 1e-3;

/// Takes out what a section departs by on average over its length.
void level(DepartureSection& section) {
  double area = 0.0;
  double length_s = 0.0;
  for (std::size_t i = 1; i < section.points.size(); ++i) {
    const DeparturePoint& a = section.points[i - 1];
    const DeparturePoint& b = section.points[i];
    area += 0.5 * (a.offset_us + b.offset_us) * (b.line_s - a.line_s);
    length_s += b.line_s - a.line_s;
  }
  for (DeparturePoint& point : section.points) point.offset_us -= area / length_s;
}

/// Of the curve at a time; nothing outside the section.
std::optional<double> offset_at(const DepartureSection& section, double line_s) {
  const auto next = std::lower_bound(
      section.points.begin(), section.points.end(), line_s,
      [](const DeparturePoint& point, double at_s) { return point.line_s < at_s; });
  if (next == section.points.end() || line_s < section.points.front().line_s) return std::nullopt;
  if (next == section.points.begin()) return next->offset_us;
  const DeparturePoint& before = *(next - 1);
  if (next->line_s <= before.line_s) return next->offset_us;
  const double share = (line_s - before.line_s) / (next->line_s - before.line_s);
  return before.offset_us + share * (next->offset_us - before.offset_us);
}

/// 1, 2 or 5 times a power of ten, at least `value`.
double round_up(double value) {
  const double power = std::pow(10.0, std::floor(std::log10(value)));
  for (const double factor : {1.0, 2.0, 5.0})
    if (factor * power >= value) return factor * power;
  return 10.0 * power;
}

}  // namespace

std::vector<DepartureSection> departure_of(const TimeMap& map) {
  const double rate = 1.0 / (1.0 + 1e-6 * map.drift_ppm());
  const double start_s = map.start_s();
  std::vector<DepartureSection> sections;
  const Span* before = nullptr;
  for (const Span& span : map.spans()) {
    const double gap_s = before == nullptr ? 0.0 : span.line_from_s - before->line_to_s;
    const double step_s = before == nullptr ? 0.0 : gap_s - (span.from_s - before->to_s) * rate;
    const bool steps = std::abs(step_s) > kLeastStep_s;
    if (before == nullptr || steps || std::abs(gap_s) > kLeastGap_s)
      sections.push_back({steps ? step_s : 0.0, {}});
    auto& points = sections.back().points;
    const auto add = [&](double track_s, double line_s) {
      points.push_back({line_s, 1e6 * (line_s - start_s - rate * track_s), span.uncertainty_us});
    };
    // Two spans share the point where they meet, and there the wider bound.
    if (points.empty())
      add(span.from_s, span.line_from_s);
    else
      points.back().bound_us = std::max(points.back().bound_us, span.uncertainty_us);
    add(span.to_s, span.line_to_s);
    before = &span;
  }
  for (DepartureSection& section : sections) level(section);
  return sections;
}

std::vector<DepartureWindow> windows_beside(const TimeMap& map,
                                            const std::vector<DepartureSection>& sections,
                                            const std::vector<MeasuredWindow>& windows) {
  std::vector<DepartureWindow> result;
  for (const MeasuredWindow& window : windows) {
    const auto line_s = map.to_line(window.at_s);
    if (!line_s) continue;
    for (const DepartureSection& section : sections)
      if (const auto offset_us = offset_at(section, *line_s)) {
        result.push_back({*line_s, *offset_us + window.offset_us, window.sigma_us, window.weight});
        break;
      }
  }
  return result;
}

double scale_us(const std::vector<DepartureSection>& sections,
                const std::vector<DepartureWindow>& windows) {
  constexpr double kLeast_us = 10.0;
  constexpr double kFar = 10.0;  // times what else is drawn
  double most_us = kLeast_us;
  double with_bound_us = kLeast_us;
  for (const DepartureSection& section : sections)
    for (const DeparturePoint& point : section.points) {
      most_us = std::max(most_us, std::abs(point.offset_us));
      with_bound_us = std::max(with_bound_us, std::abs(point.offset_us) + point.bound_us);
    }
  std::vector<double> sizes;
  for (const DepartureWindow& window : windows)
    if (window.weight > 0.0) sizes.push_back(std::abs(window.offset_us));
  std::sort(sizes.begin(), sizes.end());
  if (!sizes.empty()) most_us = std::max(most_us, sizes[sizes.size() * 19 / 20]);
  const bool bound_is_far = !sizes.empty() && with_bound_us > kFar * most_us;
  return round_up(bound_is_far ? most_us : std::max(most_us, with_bound_us));
}

}  // namespace kilter::report
