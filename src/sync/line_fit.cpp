#include "kilter/sync/line_fit.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <utility>

#include "kilter/base/median.h"

namespace kilter::sync {
namespace {

constexpr std::size_t kProposers = 48;
constexpr int kMaxRounds = 30;
constexpr double kTukey = 4.685;  // 95 % efficiency on Gaussian errors

struct Line {
  double offset_s{0.0};  // at time 0
  double slope{0.0};
  double at(double t) const { return offset_s + slope * t; }
};

double variance_of(const Observation& o, const LineFitOptions& options) {
  return o.sigma_s * o.sigma_s + options.sigma_floor_s * options.sigma_floor_s;
}

/// Evidence of one observation for choosing the cluster: what is sharper than the cluster's own
/// width counts alike, so that one very sharp window cannot outvote ten.
double say_of(const Observation& o, const LineFitOptions& options) {
  const double ratio = o.sigma_s / options.cluster_s;
  return 1.0 / (0.01 + ratio * ratio);
}

double support(const Line& line, const std::vector<Observation>& all,
               const std::vector<double>& say, double width_s) {
  double sum = 0.0;
  for (std::size_t i = 0; i < all.size(); ++i) {
    const double r = (all[i].offset_s - line.at(all[i].line_s)) / width_s;
    if (std::abs(r) < 1.0) sum += say[i] * (1.0 - r * r);
  }
  return sum;
}

/// The proposed line on which most of the evidence agrees.
Line densest_line(const std::vector<Observation>& all, const std::vector<double>& say,
                  const LineFitOptions& options) {
  std::vector<std::size_t> order(all.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return say[a] > say[b]; });
  if (order.size() > kProposers) {
    // Half the strongest, half spread over the rest, so that a long track proposes from all its
    // parts.
    std::vector<std::size_t> chosen(order.begin(), order.begin() + kProposers / 2);
    const std::size_t rest = order.size() - kProposers / 2;
    for (std::size_t i = 0; i < kProposers / 2; ++i)
      chosen.push_back(order[kProposers / 2 + i * rest / (kProposers / 2)]);
    order = chosen;
  }
  Line best;
  double best_support = -1.0;
  const auto propose = [&](const Line& line) {
    const double s = support(line, all, say, options.cluster_s);
    if (s > best_support) {
      best_support = s;
      best = line;
    }
  };
  for (std::size_t i = 0; i < order.size(); ++i) {
    const Observation& a = all[order[i]];
    propose({a.offset_s, 0.0});
    for (std::size_t j = i + 1; j < order.size(); ++j) {
      const Observation& b = all[order[j]];
      if (a.line_s == b.line_s) continue;
      const double slope = (b.offset_s - a.offset_s) / (b.line_s - a.line_s);
      if (std::abs(slope) > options.max_slope) continue;
      propose({a.offset_s - slope * a.line_s, slope});
    }
  }
  return best;
}

/// Median of the absolute residuals inside the cluster, as a standard deviation.
double robust_scatter(const std::vector<double>& residuals, const std::vector<double>& weights) {
  std::vector<double> inside;
  for (std::size_t i = 0; i < residuals.size(); ++i)
    if (weights[i] > 0.0) inside.push_back(std::abs(residuals[i]));
  if (inside.empty()) return 0.0;
  return 1.4826 * median(std::move(inside));
}

}  // namespace

double LineFit::sigma_at(double line_s) const {
  return std::hypot(offset_sigma_s, slope_sigma * (line_s - middle_s));
}

LineFit fit_line(const std::vector<Observation>& observations, const LineFitOptions& options) {
  LineFit fit;
  const std::size_t n = observations.size();
  fit.weights.assign(n, 0.0);
  if (n == 0) return fit;

  std::vector<double> say(n);
  for (std::size_t i = 0; i < n; ++i) say[i] = say_of(observations[i], options);
  const Line start = densest_line(observations, say, options);

  fit.found = true;
  fit.middle_s = 0.0;
  fit.offset_s = start.offset_s;
  fit.slope = start.slope;
  for (std::size_t i = 0; i < n; ++i)
    fit.weights[i] =
        std::abs(observations[i].offset_s - start.at(observations[i].line_s)) < options.cluster_s
            ? 1.0
            : 0.0;

  std::vector<double> residuals(n);
  double excess = 1.0;  // how much wider the residuals are than the sigmas say
  for (int round = 0; round < kMaxRounds; ++round) {
    double sw = 0.0, st = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
      const double w = fit.weights[i] / variance_of(observations[i], options);
      sw += w;
      st += w * observations[i].line_s;
    }
    if (sw <= 0.0) break;
    const double middle = st / sw;
    double so = 0.0, stt = 0.0, sto = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
      const double w = fit.weights[i] / variance_of(observations[i], options);
      const double t = observations[i].line_s - middle;
      so += w * observations[i].offset_s;
      stt += w * t * t;
      sto += w * t * observations[i].offset_s;
    }
    const double slope_information = stt + 1.0 / (options.max_slope * options.max_slope);
    const double before = fit.at(middle);
    const double slope_before = fit.slope;
    fit.middle_s = middle;
    fit.offset_s = so / sw;
    fit.slope = sto / slope_information;
    fit.offset_sigma_s = std::sqrt(1.0 / sw);
    fit.slope_sigma = std::sqrt(1.0 / slope_information);

    for (std::size_t i = 0; i < n; ++i)
      residuals[i] = (observations[i].offset_s - fit.at(observations[i].line_s)) /
                     std::sqrt(variance_of(observations[i], options));
    excess = std::max(1.0, robust_scatter(residuals, fit.weights));
    for (std::size_t i = 0; i < n; ++i) {
      const double r = residuals[i] / (kTukey * excess);
      const bool near = std::abs(observations[i].offset_s - fit.at(observations[i].line_s)) <
                        2.0 * options.cluster_s;
      fit.weights[i] = near && std::abs(r) < 1.0 ? (1.0 - r * r) * (1.0 - r * r) : 0.0;
    }
    if (round > 3 && std::abs(before - fit.offset_s) < 1e-12 &&
        std::abs(slope_before - fit.slope) < 1e-15)
      break;
  }

  fit.offset_sigma_s *= excess;
  if (fit.slope_sigma < 0.99 * options.max_slope) fit.slope_sigma *= excess;
  double say_used = 0.0, say_all = 0.0, square = 0.0, weight = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    say_all += say[i];
    if (fit.weights[i] <= 0.1) continue;
    ++fit.used;
    say_used += say[i];
    const double r = observations[i].offset_s - fit.at(observations[i].line_s);
    square += fit.weights[i] * r * r;
    weight += fit.weights[i];
  }
  fit.used_share = say_all > 0.0 ? say_used / say_all : 0.0;
  fit.scatter_s = weight > 0.0 ? std::sqrt(square / weight) : 0.0;
  fit.found = fit.used > 0;
  return fit;
}

}  // namespace kilter::sync
