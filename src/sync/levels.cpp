#include "kilter/sync/levels.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "kilter/base/median.h"

namespace kilter::sync {
namespace {

constexpr double kWidestSigma_s = 0.3e-3;  // a vaguer point still must not bridge a step

double reach_s(const LevelPoint& a, const LevelPoint& b, const LevelOptions& options) {
  return options.tolerance_s + options.slope * std::abs(b.at_s - a.at_s) +
         2.0 * std::min(kWidestSigma_s, std::hypot(a.sigma_s, b.sigma_s));
}

/// What it costs to go on from `a` to `b` on one level; more than a jump where that is impossible.
double cost_between(const LevelPoint& a, const LevelPoint& b, const LevelOptions& options) {
  const double away = (b.offset_s - a.offset_s) / reach_s(a, b, options);
  return std::abs(away) > 1.0 ? 1e9 : 0.2 * away * away;
}

/// A maximal run of points on one level.
struct Run {
  std::vector<std::size_t> points;
  double say{0.0};
};

double median_offset(const Run& run, const std::vector<LevelPoint>& points, bool at_end) {
  // Of the five points at one end: the clock may have moved along a long run.
  std::vector<double> offsets;
  const std::size_t count = std::min<std::size_t>(5, run.points.size());
  for (std::size_t i = 0; i < count; ++i)
    offsets.push_back(
        points[at_end ? run.points[run.points.size() - 1 - i] : run.points[i]].offset_s);
  return median(std::move(offsets));
}

void append(Run& to, const Run& from) {
  to.points.insert(to.points.end(), from.points.begin(), from.points.end());
  to.say += from.say;
}

double gap_s(const Run& a, const Run& b, const std::vector<LevelPoint>& points) {
  return points[b.points.front()].at_s - points[a.points.back()].at_s;
}

double step_s(const Run& a, const Run& b, const std::vector<LevelPoint>& points) {
  return median_offset(b, points, false) - median_offset(a, points, true);
}

/// Joins what is one level: neighbours without a real step, and runs on both sides of a visit
/// elsewhere.
bool join_once(std::vector<Run>& runs, const std::vector<LevelPoint>& points,
               const LevelOptions& options) {
  for (std::size_t i = 0; i + 1 < runs.size(); ++i) {
    const double slack = options.slope * gap_s(runs[i], runs[i + 1], points);
    if (std::abs(step_s(runs[i], runs[i + 1], points)) > options.least_step_s + slack) continue;
    append(runs[i], runs[i + 1]);
    runs.erase(runs.begin() + static_cast<std::ptrdiff_t>(i) + 1);
    return true;
  }
  for (std::size_t i = 0; i + 2 < runs.size(); ++i) {
    const double slack = options.slope * gap_s(runs[i], runs[i + 2], points);
    if (std::abs(step_s(runs[i], runs[i + 2], points)) > options.least_step_s + slack) continue;
    if (std::abs(step_s(runs[i], runs[i + 1], points)) > options.excursion_s) continue;
    if (runs[i + 1].say > runs[i].say + runs[i + 2].say) continue;
    append(runs[i], runs[i + 2]);
    runs.erase(runs.begin() + static_cast<std::ptrdiff_t>(i) + 1,
               runs.begin() + static_cast<std::ptrdiff_t>(i) + 3);
    return true;
  }
  return false;
}

std::vector<Run> best_chain(const std::vector<LevelPoint>& points, const LevelOptions& options) {
  const std::size_t n = points.size();
  std::vector<double> score(n);
  std::vector<std::ptrdiff_t> previous(n, -1);
  for (std::size_t i = 0; i < n; ++i) {
    score[i] = points[i].say;  // the chain begins here
    for (std::size_t j = i; j-- > 0;) {
      if (score[j] + points[i].say <= score[i]) continue;
      const double jump =
          points[j].lane == points[i].lane ? options.jump_cost : options.lane_jump_cost;
      const double reached =
          score[j] + points[i].say - std::min(jump, cost_between(points[j], points[i], options));
      if (reached > score[i]) {
        score[i] = reached;
        previous[i] = static_cast<std::ptrdiff_t>(j);
      }
    }
  }
  const auto best_index = std::max_element(score.begin(), score.end()) - score.begin();
  std::vector<std::size_t> chain;
  for (std::ptrdiff_t i = best_index; i >= 0; i = previous[static_cast<std::size_t>(i)])
    chain.push_back(static_cast<std::size_t>(i));
  std::reverse(chain.begin(), chain.end());
  std::vector<Run> runs;
  for (std::size_t c = 0; c < chain.size(); ++c) {
    const bool continues =
        c > 0 && cost_between(points[chain[c - 1]], points[chain[c]], options) < 1e6;
    if (!continues) runs.emplace_back();
    runs.back().points.push_back(chain[c]);
    runs.back().say += points[chain[c]].say;
  }
  return runs;
}

}  // namespace

std::vector<int> find_levels(const std::vector<LevelPoint>& points, const LevelOptions& options) {
  std::vector<int> levels(points.size(), -1);
  if (points.empty()) return levels;
  std::vector<Run> runs = best_chain(points, options);
  while (join_once(runs, points, options)) continue;
  for (std::size_t level = 0; level < runs.size(); ++level)
    for (const std::size_t i : runs[level].points) levels[i] = static_cast<int>(level);
  return levels;
}

}  // namespace kilter::sync
