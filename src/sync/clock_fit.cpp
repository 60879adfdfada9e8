#include "kilter/sync/clock_fit.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <utility>

#include "kilter/base/median.h"
#include "normal_equations.h"

namespace kilter::sync {
namespace {

constexpr double kTukey = 4.685;  // 95 % efficiency on Gaussian errors
constexpr int kRounds = 12;
constexpr double kBlock_s = 60.0;           // pairs are held out by blocks of this length
constexpr double kLeastHeldOutGain = 12.0;  // chi-square units, per doubling of the knots
constexpr double kLeastGainShare = 0.02;
constexpr int kLeastPairsPerKnot = 5;
// A crystal's rate changes smoothly: neighbouring knots differ by a few ppm at most.
constexpr double kKnotStep = 5e-6;
constexpr double kTied_s = 0.5e-6;

/// The share of knot `k` in the rate, integrated from the first knot to `track_s`.
double hat_integral(const std::vector<double>& knots, std::size_t k, double track_s) {
  const auto area = [](double from, double to, double peak, double x) {
    // of the ramp from 0 at `from` to 1 at `peak`, or the other way round, up to x
    if (x <= from) return 0.0;
    const double end = std::min(x, to);
    const auto height = [&](double at) {
      const double away = peak == to ? at - from : to - at;
      return away / (to - from);
    };
    return 0.5 * (end - from) * (height(from) + height(end));
  };
  double sum = 0.0;
  if (k > 0) sum += area(knots[k - 1], knots[k], knots[k], track_s);
  if (k + 1 < knots.size()) sum += area(knots[k], knots[k + 1], knots[k], track_s);
  if (k == 0 && track_s < knots.front()) sum += track_s - knots.front();
  if (k + 1 == knots.size() && track_s > knots.back()) sum += track_s - knots.back();
  return sum;
}

/// The unknowns: an offset per level, then the rate at every knot (one knot: the line's).
class Model {
 public:
  Model(std::size_t levels, std::vector<double> knots, double middle_s)
      : levels_(levels), knots_(std::move(knots)), middle_s_(middle_s) {}

  std::size_t unknowns() const { return levels_ + std::max<std::size_t>(knots_.size(), 1); }
  const std::vector<double>& knots() const { return knots_; }
  double middle_s() const { return middle_s_; }

  void row(int level, double track_s, std::vector<double>& out) const {
    out.assign(unknowns(), 0.0);
    if (level >= 0) out[static_cast<std::size_t>(level)] = 1.0;
    if (knots_.empty()) {
      out[levels_] = track_s - middle_s_;
      return;
    }
    for (std::size_t k = 0; k < knots_.size(); ++k)
      out[levels_ + k] = hat_integral(knots_, k, track_s) - hat_integral(knots_, k, middle_s_);
  }

  double value(const std::vector<double>& solution, int level, double track_s,
               std::vector<double>& scratch) const {
    row(level, track_s, scratch);
    double sum = 0.0;
    for (std::size_t i = 0; i < scratch.size(); ++i) sum += scratch[i] * solution[i];
    return sum;
  }

  /// What holds between levels, and what they lack of it yet.
  void tie(const ClockCurve& before) {
    const auto start_s = [&](int level) { return before.start_s[static_cast<std::size_t>(level)]; };
    ties_ = before.ties;
    lacks_s_.clear();
    for (const LevelTie& tie : ties_)
      lacks_s_.push_back((start_s(tie.other_next) - start_s(tie.other)) -
                         (start_s(tie.next) - start_s(tie.level)));
  }

  void add_priors(NormalEquations& equations, double max_slope) const {
    std::vector<double> prior(unknowns(), 0.0);
    for (std::size_t t = 0; t < ties_.size(); ++t) {
      prior.assign(unknowns(), 0.0);
      prior[static_cast<std::size_t>(ties_[t].next)] += 1.0;
      prior[static_cast<std::size_t>(ties_[t].level)] -= 1.0;
      prior[static_cast<std::size_t>(ties_[t].other_next)] -= 1.0;
      prior[static_cast<std::size_t>(ties_[t].other)] += 1.0;
      equations.add(prior, lacks_s_[t], 1.0 / (kTied_s * kTied_s));
    }
    prior.assign(unknowns(), 0.0);
    if (knots_.empty()) {
      prior[levels_] = 1.0;
      equations.add(prior, 0.0, 1.0 / (max_slope * max_slope));
      return;
    }
    for (std::size_t k = 0; k < knots_.size(); ++k) {
      prior.assign(unknowns(), 0.0);
      prior[levels_ + k] = 1.0;
      equations.add(prior, 0.0, 1.0 / (max_slope * max_slope));
      if (k == 0) continue;
      prior[levels_ + k - 1] = -1.0;
      equations.add(prior, 0.0, 1.0 / (kKnotStep * kKnotStep));
    }
  }

 private:
  std::size_t levels_;
  std::vector<double> knots_;
  double middle_s_;
  std::vector<LevelTie> ties_;
  std::vector<double> lacks_s_;
};

struct Data {
  const std::vector<Pairing>& pairings;
  std::vector<double> offsets_s;  // from the straight part of the curve before
  std::vector<double> variances;
};

double robust_scale(std::vector<double> absolute) {
  if (absolute.empty()) return 1.0;
  return std::max(1.0, 1.4826 * median(std::move(absolute)));
}

struct Solution {
  bool good{false};
  std::vector<double> unknowns;
  std::vector<double> weights;
  double excess{1.0};
  std::vector<double> inverse;
};

Solution solve(const Data& data, const Model& model, const ClockFitOptions& options,
               std::vector<double> weights, int rounds) {
  Solution result;
  std::vector<double> row;
  std::vector<double> residuals(data.pairings.size());
  for (int round = 0; round < rounds; ++round) {
    NormalEquations equations(model.unknowns());
    for (std::size_t i = 0; i < data.pairings.size(); ++i) {
      if (weights[i] <= 0.0) continue;
      model.row(data.pairings[i].level, data.pairings[i].track_s, row);
      equations.add(row, data.offsets_s[i], weights[i] / data.variances[i]);
    }
    model.add_priors(equations, options.max_slope);
    // A level that no pair is left on stays where it was.
    for (int level = 0; level < static_cast<int>(model.unknowns()); ++level) {
      row.assign(model.unknowns(), 0.0);
      row[static_cast<std::size_t>(level)] = 1.0;
      equations.add(row, 0.0, 1e-6);
    }
    if (!equations.solve()) return result;
    result.unknowns = equations.solution();
    std::vector<double> inside;
    for (std::size_t i = 0; i < data.pairings.size(); ++i) {
      if (data.pairings[i].level < 0) continue;
      residuals[i] = data.offsets_s[i] - model.value(result.unknowns, data.pairings[i].level,
                                                     data.pairings[i].track_s, row);
      if (weights[i] > 0.0) inside.push_back(std::abs(residuals[i]) / std::sqrt(data.variances[i]));
    }
    result.excess = robust_scale(std::move(inside));
    if (round + 1 == rounds) {
      result.inverse = equations.inverse();
      break;
    }
    for (std::size_t i = 0; i < data.pairings.size(); ++i) {
      if (data.pairings[i].level < 0) continue;
      const double scaled = residuals[i] / std::sqrt(data.variances[i]) / (kTukey * result.excess);
      const bool near = std::abs(residuals[i]) < options.gate_s;
      weights[i] =
          near && std::abs(scaled) < 1.0 ? (1.0 - scaled * scaled) * (1.0 - scaled * scaled) : 0.0;
    }
  }
  result.weights = std::move(weights);
  result.good = true;
  return result;
}

/// Chi-square of pairs that a fit without them leaves, bounded per pair.
double held_out_loss(const Data& data, const Model& model, const ClockFitOptions& options,
                     const std::vector<double>& weights, double excess) {
  double loss = 0.0;
  std::vector<double> row;
  const auto is_out = [&](std::size_t i, int turn) {
    return (static_cast<std::int64_t>(data.pairings[i].track_s / kBlock_s) & 1) == turn;
  };
  for (int turn = 0; turn < 2; ++turn) {
    std::vector<double> kept = weights;
    for (std::size_t i = 0; i < kept.size(); ++i)
      if (is_out(i, turn)) kept[i] = 0.0;
    NormalEquations equations(model.unknowns());
    for (std::size_t i = 0; i < kept.size(); ++i) {
      if (kept[i] <= 0.0) continue;
      model.row(data.pairings[i].level, data.pairings[i].track_s, row);
      equations.add(row, data.offsets_s[i], kept[i] / data.variances[i]);
    }
    model.add_priors(equations, options.max_slope);
    for (std::size_t u = 0; u < model.unknowns(); ++u) {
      row.assign(model.unknowns(), 0.0);
      row[u] = 1.0;
      equations.add(row, 0.0, 1e-6);
    }
    if (!equations.solve()) return 1e300;
    for (std::size_t i = 0; i < weights.size(); ++i) {
      if (!is_out(i, turn) || weights[i] <= 0.0) continue;
      const double r =
          (data.offsets_s[i] - model.value(equations.solution(), data.pairings[i].level,
                                           data.pairings[i].track_s, row)) /
          std::sqrt(data.variances[i]) / excess;
      loss += std::min(r * r, 25.0);
    }
  }
  return loss;
}

std::vector<double> spread_knots(double from_s, double to_s, int count) {
  std::vector<double> knots;
  for (int i = 0; i < count; ++i)
    knots.push_back(from_s + (to_s - from_s) * i / static_cast<double>(count - 1));
  return knots;
}

}  // namespace

double ClockCurve::bend_s(double track_s) const {
  double sum = 0.0;
  for (std::size_t k = 0; k < knots_s.size(); ++k)
    sum += bend_rates[k] * hat_integral(knots_s, k, track_s);
  return sum;
}

double ClockCurve::line_s(int level, double track_s) const {
  return start_s[static_cast<std::size_t>(level)] + rate * track_s + bend_s(track_s);
}

double ClockCurve::rate_at(double track_s) const {
  if (knots_s.empty()) return rate;
  if (track_s <= knots_s.front()) return rate + bend_rates.front();
  for (std::size_t k = 1; k < knots_s.size(); ++k) {
    if (track_s > knots_s[k]) continue;
    const double share = (track_s - knots_s[k - 1]) / (knots_s[k] - knots_s[k - 1]);
    return rate + bend_rates[k - 1] + share * (bend_rates[k] - bend_rates[k - 1]);
  }
  return rate + bend_rates.back();
}

double ClockFit::sigma_s(int level, double track_s) const {
  const Model model(curve.start_s.size(), curve.knots_s, middle_s);
  if (covariance.size() != model.unknowns() * model.unknowns()) return 1.0;
  std::vector<double> row;
  model.row(level, track_s, row);
  double sum = 0.0;
  for (std::size_t i = 0; i < row.size(); ++i)
    for (std::size_t j = 0; j < row.size(); ++j)
      sum += row[i] * row[j] * covariance[i * row.size() + j];
  return std::sqrt(std::max(0.0, sum));
}

ClockFit fit_clock(const std::vector<Pairing>& pairings, const ClockCurve& before,
                   const ClockFitOptions& options) {
  ClockFit fit;
  fit.curve = before;
  fit.weights.assign(pairings.size(), 0.0);
  Data data{pairings, std::vector<double>(pairings.size()), std::vector<double>(pairings.size())};
  double first_s = 1e300;
  double last_s = -1e300;
  double weight = 0.0;
  double moment = 0.0;
  int count = 0;
  for (std::size_t i = 0; i < pairings.size(); ++i) {
    const Pairing& p = pairings[i];
    data.variances[i] = p.sigma_s * p.sigma_s + options.sigma_floor_s * options.sigma_floor_s;
    if (p.level < 0) continue;
    data.offsets_s[i] =
        p.line_s - (before.start_s[static_cast<std::size_t>(p.level)] + before.rate * p.track_s);
    fit.weights[i] = 1.0;
    first_s = std::min(first_s, p.track_s);
    last_s = std::max(last_s, p.track_s);
    weight += 1.0 / data.variances[i];
    moment += p.track_s / data.variances[i];
    ++count;
  }
  if (count == 0) return fit;
  fit.middle_s = moment / weight;

  const std::size_t levels = before.start_s.size();
  int most = 1;
  if (options.may_bend && last_s - first_s > 2.0 * options.knot_spacing_s)
    while (2 * most - 1 < 40 &&
           (last_s - first_s) / std::max(1, 2 * (most - 1)) > options.knot_spacing_s &&
           count >= kLeastPairsPerKnot * 2 * most)
      most = most == 1 ? 2 : 2 * most - 1;
  // The richest model says which pairs are inside; the poorer ones are compared on those.
  const auto model_of = [&](int knots) {
    Model model(levels, knots < 2 ? std::vector<double>{} : spread_knots(first_s, last_s, knots),
                fit.middle_s);
    model.tie(before);
    return model;
  };
  int chosen = 1;
  if (most > 1) {
    // Where the clock bends, the line would throw the bent ends out: no gate but the richest's.
    const Solution richest = solve(data, model_of(most), options, fit.weights, 6);
    if (richest.good) {
      double best = held_out_loss(data, model_of(1), options, richest.weights, richest.excess);
      const double line_loss = best;
      for (int knots = 2; knots <= most; knots = 2 * knots - 1) {
        const double loss =
            held_out_loss(data, model_of(knots), options, richest.weights, richest.excess);
        if (loss > best - kLeastHeldOutGain || loss > best * (1.0 - kLeastGainShare)) continue;
        best = loss;
        chosen = knots;
      }
      fit.held_out_gain = line_loss - best;
    }
  }
  const Model model = model_of(chosen);
  const Solution solution = solve(data, model, options, fit.weights, kRounds);
  if (!solution.good) return fit;

  ClockCurve curve = before;
  curve.knots_s = model.knots();
  curve.bend_rates.clear();
  double at_middle = 0.0;  // what the basis has at track time 0
  std::vector<double> row;
  model.row(-1, 0.0, row);
  for (std::size_t i = levels; i < row.size(); ++i) at_middle += row[i] * solution.unknowns[i];
  if (chosen == 1) {
    curve.rate = before.rate + solution.unknowns[levels];
  } else {
    curve.bend_rates.assign(solution.unknowns.begin() + static_cast<std::ptrdiff_t>(levels),
                            solution.unknowns.end());
    double bend_at_0 = 0.0;
    for (std::size_t k = 0; k < curve.knots_s.size(); ++k)
      bend_at_0 += curve.bend_rates[k] * hat_integral(curve.knots_s, k, 0.0);
    at_middle -= bend_at_0;
  }
  for (std::size_t level = 0; level < levels; ++level)
    curve.start_s[level] = before.start_s[level] + solution.unknowns[level] + at_middle;
  fit.curve = std::move(curve);
  fit.weights = solution.weights;
  fit.covariance = solution.inverse;
  for (double& c : fit.covariance) c *= solution.excess * solution.excess;
  double square = 0.0;
  double total = 0.0;
  for (std::size_t i = 0; i < pairings.size(); ++i) {
    if (fit.weights[i] <= 0.1) continue;
    ++fit.used;
    const double r = pairings[i].line_s - fit.curve.line_s(pairings[i].level, pairings[i].track_s);
    square += fit.weights[i] * r * r;
    total += fit.weights[i];
  }
  fit.scatter_s = total > 0.0 ? std::sqrt(square / total) : 0.0;
  const std::size_t n = model.unknowns();
  double rate_variance = 0.0;  // of the mean over the knots
  const std::size_t rates = n - levels;
  for (std::size_t i = levels; i < n; ++i)
    for (std::size_t j = levels; j < n; ++j) rate_variance += fit.covariance[i * n + j];
  fit.rate_sigma = std::sqrt(std::max(0.0, rate_variance)) / static_cast<double>(rates);
  fit.found = fit.used > 0;
  return fit;
}

}  // namespace kilter::sync
