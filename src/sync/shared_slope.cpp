#include "shared_slope.h"

#include <algorithm>
#include <cmath>

namespace kilter::sync {
namespace {

constexpr double kStep = 2e-6;
constexpr double kNearest_s = 4.0;   // two windows nearer than this agree at any slope
constexpr double kFarthest_s = 120;  // beyond, a clock that bends leaves its own line
constexpr double kAgreement_s = 100e-6;
constexpr double kElsewhere = 20e-6;
constexpr double kStandsOut = 1.4;  // over any slope elsewhere
constexpr double kLeastPairs = 6.0;
constexpr double kLeastShare = 0.1;  // of all pairs

struct Pair {
  double apart_s{0.0};
  double offset_s{0.0};
  double width_s{0.0};
};

std::vector<Pair> pairs_of(const std::vector<std::vector<Observation>>& stretches) {
  std::vector<Pair> pairs;
  for (const auto& stretch : stretches)
    for (std::size_t i = 0; i < stretch.size(); ++i)
      for (std::size_t j = i + 1; j < stretch.size(); ++j) {
        const double apart_s = stretch[j].line_s - stretch[i].line_s;
        if (apart_s > kFarthest_s) break;
        if (apart_s < kNearest_s) continue;
        pairs.push_back(
            {apart_s, stretch[j].offset_s - stretch[i].offset_s,
             std::hypot(kAgreement_s, std::hypot(stretch[i].sigma_s, stretch[j].sigma_s))});
      }
  return pairs;
}

/// How many pairs lie on lines of this slope: one that is known no better than that says less.
double agreement(const std::vector<Pair>& pairs, double slope) {
  double sum = 0.0;
  for (const Pair& pair : pairs) {
    const double r = (pair.offset_s - slope * pair.apart_s) / pair.width_s;
    if (std::abs(r) < 1.0) sum += kAgreement_s / pair.width_s * (1.0 - r * r);
  }
  return sum;
}

/// Least squares through the pairs that agree.
double refined(const std::vector<Pair>& pairs, double slope) {
  for (int round = 0; round < 5; ++round) {
    double tt = 0.0;
    double to = 0.0;
    for (const Pair& pair : pairs) {
      const double r = (pair.offset_s - slope * pair.apart_s) / pair.width_s;
      if (std::abs(r) >= 1.0) continue;
      const double w = (1.0 - r * r) / (pair.width_s * pair.width_s);
      tt += w * pair.apart_s * pair.apart_s;
      to += w * pair.apart_s * pair.offset_s;
    }
    if (tt > 0.0) slope = to / tt;
  }
  return slope;
}

}  // namespace

std::optional<double> shared_slope(const std::vector<std::vector<Observation>>& stretches,
                                   double max_slope) {
  const std::vector<Pair> pairs = pairs_of(stretches);
  const int steps = static_cast<int>(std::ceil(max_slope / kStep));
  std::vector<double> scores;
  for (int i = -steps; i <= steps; ++i) scores.push_back(agreement(pairs, i * kStep));
  const auto best = std::max_element(scores.begin(), scores.end());
  const double slope = static_cast<double>(best - scores.begin() - steps) * kStep;
  double elsewhere = 0.0;
  for (int i = -steps; i <= steps; ++i)
    if (std::abs(i * kStep - slope) > kElsewhere)
      elsewhere = std::max(elsewhere, scores[static_cast<std::size_t>(i + steps)]);
  double all = 0.0;
  for (const Pair& pair : pairs) all += kAgreement_s / pair.width_s;
  if (*best < std::max({kLeastPairs, kLeastShare * all, kStandsOut * elsewhere}))
    return std::nullopt;
  return refined(pairs, slope);
}

}  // namespace kilter::sync
