#include "check_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "kilter/base/clock_text.h"

namespace kilter::commands {
namespace {

constexpr std::size_t kMostTold = 6;        // stretches in one sentence
constexpr double kSlopeIsSure = 4.0;        // of its standard errors
constexpr double kSlopeMatters_s = 0.1e-3;  // over the session
constexpr int kFewestOnALine = 5;           // windows, where it was parted
constexpr double kOnLine_s = 0.1e-3;
constexpr double kOnLineShare = 0.05;  // of all that it drifts: stairs leave their line further
constexpr double kInStep_s = 0.05e-3;
constexpr double kHalfWindow_s = 3.0;
constexpr double kAlike_s = 0.5e-3;  // phrases of one slip

struct Point {
  double at_s;
  double late_s;
  double weight;
};

/// The line of least squares through points at different times.
Drift line_through(const std::vector<Point>& points) {
  double weight = 0.0;
  double at_s = 0.0;
  double late_s = 0.0;
  for (const Point& each : points) {
    weight += each.weight;
    at_s += each.weight * each.at_s;
    late_s += each.weight * each.late_s;
  }
  at_s /= weight;
  late_s /= weight;
  double spread = 0.0;
  double cross = 0.0;
  for (const Point& each : points) {
    spread += each.weight * (each.at_s - at_s) * (each.at_s - at_s);
    cross += each.weight * (each.at_s - at_s) * (each.late_s - late_s);
  }
  const double slope = spread > 0.0 ? cross / spread : 0.0;
  const double from_s = points.front().at_s;
  const double to_s = points.back().at_s;
  return {from_s, to_s, late_s + slope * (from_s - at_s), late_s + slope * (to_s - at_s)};
}

Drift of_run(const sync::ResidualRun& run) {
  return {run.from_s, run.to_s, run.at(run.from_s), run.at(run.to_s)};
}

std::optional<Drift> of_runs(const std::vector<sync::ResidualRun>& runs) {
  std::vector<Point> points;
  int windows = 0;
  for (const auto& run : runs) {
    windows += run.windows;
    for (const double at_s : {run.from_s, run.to_s})
      points.push_back({at_s, run.at(at_s), 0.5 * run.windows});
  }
  if (windows < kFewestOnALine) return std::nullopt;
  const Drift line = line_through(points);
  const double over_s = std::abs(line.late_to_s - line.late_from_s);
  const bool on_line = std::all_of(points.begin(), points.end(), [&](const Point& each) {
    const double line_s = line.late_from_s + line.slope() * (each.at_s - line.from_s);
    return std::abs(each.late_s - line_s) < kOnLine_s + kOnLineShare * over_s;
  });
  return on_line ? std::optional(line) : std::nullopt;
}

std::string extent_text(const sync::ResidualRun& run, const std::vector<sync::Phrase>& phrases) {
  if (run.to_s - run.from_s > kHalfWindow_s) return stretch_text(run.from_s, run.to_s);
  double from_s = run.from_s;
  double to_s = run.to_s;
  for (const sync::Phrase& each : phrases) {
    if (!each.heard || std::abs(each.late_s - run.late_s) > kAlike_s ||
        each.from_s > run.to_s + kHalfWindow_s || each.to_s < run.from_s - kHalfWindow_s)
      continue;
    from_s = std::min(from_s, each.from_s);
    to_s = std::max(to_s, each.to_s);
  }
  return stretch_text(from_s, to_s);
}

std::string amount_text(double late_s) {
  return std::abs(late_s) < 1.0 ? short_time_text(late_s)
                                : fmt::format("{:.3f} s", std::abs(late_s));
}

std::string drift_text(const Drift& drift) {
  constexpr double kHour_s = 3600.0;
  const double slope = drift.slope();
  return fmt::format(
      " It drifts evenly, by {} from {} ({}) to {} ({}): it runs {:.3g} ppm too {}, {} in an hour.",
      short_time_text(drift.late_to_s - drift.late_from_s), clock_text(drift.from_s),
      late_text(drift.late_from_s), clock_text(drift.to_s), late_text(drift.late_to_s),
      1e6 * std::abs(slope), slope > 0.0 ? "slowly" : "fast", short_time_text(kHour_s * slope));
}

}  // namespace

std::string late_text(double late_s) {
  return amount_text(late_s) + (late_s < 0.0 ? " early" : " late");
}

std::string stretch_text(double from_s, double to_s, int decimals) {
  const std::string from = clock_text(from_s, decimals);
  const std::string to = clock_text(to_s, decimals);
  return from == to ? "about " + from : "from " + from + " to " + to;
}

std::optional<Drift> drift_of(const sync::Residual& residual) {
  std::optional<Drift> drift;
  if (residual.runs.size() == 1) {
    const auto& run = residual.runs.front();
    if (run.to_s > run.from_s && std::abs(run.slope) >= kSlopeIsSure * run.slope_sigma)
      drift = of_run(run);
  } else if (!residual.runs.empty()) {
    drift = of_runs(residual.runs);
  }
  if (drift && std::abs(drift->late_to_s - drift->late_from_s) < kSlopeMatters_s) drift.reset();
  return drift;
}

std::optional<Step> step_of(const sync::Residual& residual, double limit_s,
                            const std::vector<sync::Phrase>& phrases) {
  const auto& runs = residual.runs;
  const auto is_off = [&](const sync::ResidualRun& run) { return std::abs(run.late_s) > limit_s; };
  const auto first = std::find_if(runs.begin(), runs.end(), is_off);
  if (first == runs.begin() || first == runs.end()) return std::nullopt;
  Step step{std::prev(first)->to_s, first->from_s, first->late_s};
  if (std::any_of(first, runs.end(), [&](const sync::ResidualRun& run) {
        return std::abs(run.late_s - step.late_s) > kAlike_s;
      }))
    return std::nullopt;
  // Single sentences tell its place better than windows do.
  const double after_s = step.in_step_to_s;
  const double before_s = step.off_from_s;
  for (const sync::Phrase& each : phrases) {
    if (!each.heard || each.to_s < after_s || each.from_s > before_s) continue;
    if (std::abs(each.late_s - step.late_s) < kAlike_s)
      step.off_from_s = std::min(step.off_from_s, each.from_s);
    else if (std::abs(each.late_s) < limit_s)
      step.in_step_to_s = std::max(step.in_step_to_s, each.to_s);
  }
  return step.in_step_to_s < step.off_from_s ? std::optional(step)
                                             : std::optional(Step{after_s, before_s, step.late_s});
}

std::string step_text(const Step& step) {
  const std::string amount = amount_text(step.late_s);
  return fmt::format(
      " It stands in step with the mix up to {}, and {} from {} to its end: in between, it {}.",
      clock_text(step.in_step_to_s), late_text(step.late_s), clock_text(step.off_from_s),
      step.late_s < 0.0 ? "lost " + amount : "has " + amount + " too much");
}

std::string step_mending(const Step& step) {
  return step.late_s < 0.0 ? "put " + amount_text(step.late_s) + " of silence in there"
                           : "take " + amount_text(step.late_s) + " out there";
}

std::string course_text(const sync::Residual& residual, double limit_s,
                        const std::vector<sync::Phrase>& phrases) {
  if (const auto drift = drift_of(residual)) return drift_text(*drift);
  if (residual.runs.size() < 2) return "";
  if (const auto step = step_of(residual, limit_s, phrases)) return step_text(*step);
  const double in_step_s = std::min(kInStep_s, limit_s);
  const auto is_in_step = [&](const auto& run) { return std::abs(run.late_s) < in_step_s; };
  if (std::all_of(residual.runs.begin(), residual.runs.end(), is_in_step)) return "";
  std::string text = " It stands ";
  for (std::size_t i = 0; i < residual.runs.size() && i < kMostTold; ++i) {
    const auto& run = residual.runs[i];
    text +=
        fmt::format("{}{} {}", i == 0 ? "" : ", ",
                    is_in_step(run) ? "in step" : late_text(run.late_s), extent_text(run, phrases));
  }
  return text + (residual.runs.size() > kMostTold ? " and so on." : ".");
}

}  // namespace kilter::commands
