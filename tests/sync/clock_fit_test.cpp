#include "kilter/sync/clock_fit.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace kilter::sync {
namespace {

constexpr double kSigma_s = 20e-6;

/// Pairs every `every_s` along a clock, with errors of kSigma_s.
template <typename LineOf>
std::vector<Pairing> pairs_along(double length_s, double every_s, unsigned seed,
                                 const LineOf& line_of) {
  std::mt19937 random(seed);
  std::normal_distribution<double> error(0.0, kSigma_s);
  std::vector<Pairing> pairs;
  for (double u = 0.5 * every_s; u < length_s; u += every_s)
    pairs.push_back({u, line_of(u) + error(random), kSigma_s, 0});
  return pairs;
}

double worst_error_s(const ClockCurve& curve, double length_s,
                     const std::function<double(double)>& line_of) {
  double worst = 0.0;
  for (int i = 0; i <= 200; ++i) {
    const double u = length_s * i / 200.0;
    worst = std::max(worst, std::abs(curve.line_s(0, u) - line_of(u)));
  }
  return worst;
}

TEST(ClockFit, FindsAStraightClockAsPlainLeastSquaresDo) {
  const auto line = [](double u) { return 3.0 + u * (1.0 - 31e-6); };
  const auto pairs = pairs_along(1800.0, 10.0, 1, line);
  ClockCurve before;
  before.start_s = {3.0004};
  before.rate = 1.0 - 30e-6;
  const ClockFit fit = fit_clock(pairs, before, {.gate_s = 1e-3, .may_bend = false});
  ASSERT_TRUE(fit.found);
  // Textbook least squares, no weights: the errors are Gaussian, so that few pairs are turned down.
  double st = 0.0, sl = 0.0;
  for (const Pairing& p : pairs) {
    st += p.track_s / static_cast<double>(pairs.size());
    sl += (p.line_s - p.track_s) / static_cast<double>(pairs.size());
  }
  double stt = 0.0, stl = 0.0;
  for (const Pairing& p : pairs) {
    stt += (p.track_s - st) * (p.track_s - st);
    stl += (p.track_s - st) * (p.line_s - p.track_s - sl);
  }
  EXPECT_NEAR(fit.curve.rate, 1.0 + stl / stt, 2e-9);
  EXPECT_NEAR(fit.curve.line_s(0, 900.0), 900.0 + sl + stl / stt * (900.0 - st), 2e-6);
}

TEST(ClockFit, TheErrorsOfManyFitsLieWithinTwiceTheStatedSigma) {
  const auto line = [](double u) { return -7.0 + u * (1.0 + 12e-6); };
  int inside = 0;
  constexpr int kFits = 400;
  for (unsigned seed = 0; seed < kFits; ++seed) {
    ClockCurve before;
    before.start_s = {-7.0};
    const ClockFit fit = fit_clock(pairs_along(600.0, 12.0, seed, line), before,
                                   {.max_slope = 50e-6, .gate_s = 10e-3});
    const double error_s = fit.curve.line_s(0, 0.0) - line(0.0);
    if (std::abs(error_s) < 2.0 * fit.sigma_s(0, 0.0)) ++inside;
  }
  // 95 % expected; 400 fits scatter by 1 %.
  EXPECT_GT(inside, kFits * 92 / 100);
}

TEST(ClockFit, LevelsShareOneClock) {
  const auto line = [](double u) { return 1.0 + u * (1.0 - 8e-6); };
  std::vector<Pairing> pairs = pairs_along(900.0, 6.0, 3, line);
  for (Pairing& p : pairs)
    if (p.track_s > 850.0) {  // too short a stretch to tell a rate of its own
      p.level = 1;
      p.line_s += 0.75;
    }
  ClockCurve before;
  before.start_s = {1.0, 1.7502};
  const ClockFit fit = fit_clock(pairs, before, {.gate_s = 1e-3});
  EXPECT_NEAR(fit.curve.start_s[1] - fit.curve.start_s[0], 0.75, 20e-6);
  EXPECT_NEAR(1e6 * (fit.curve.rate - 1.0), -8.0, 0.03);
}

TEST(ClockFit, ALevelWithoutPairsIsKnownByTheStepItSharesWithOthers) {
  // One microphone on levels 0 and 1; another, which lost 0.12 s alone, on 2, where nothing is
  // heard, and 3.
  const auto line = [](double u) { return 3.0 + u * (1.0 - 31e-6); };
  auto pairs = pairs_along(600.0, 10.0, 4, line);
  for (Pairing& p : pairs)
    if (p.track_s > 300.0) {
      p.level = 1;
      p.line_s += 0.25;
    }
  for (Pairing p : pairs_along(600.0, 10.0, 5, line))
    if (p.track_s > 310.0) pairs.push_back({p.track_s, p.line_s + 0.37, p.sigma_s, 3});
  ClockCurve before;
  before.start_s = {3.0, 3.2501, 3.1203, 3.37005};
  before.rate = 1.0 - 30e-6;
  const auto free = fit_clock(pairs, before, {.gate_s = 1e-3, .may_bend = false});
  before.ties = {{2, 3, 0, 1}};
  const auto tied = fit_clock(pairs, before, {.gate_s = 1e-3, .may_bend = false});
  ASSERT_TRUE(free.found && tied.found);
  EXPECT_GT(free.sigma_s(2, 305.0), 1.0);
  EXPECT_LT(tied.sigma_s(2, 305.0), 1.5 * kSigma_s);
  EXPECT_NEAR(tied.curve.line_s(2, 305.0), line(305.0) + 0.12, 3.0 * tied.sigma_s(2, 305.0));
  EXPECT_GT(std::abs(free.curve.line_s(2, 305.0) - (line(305.0) + 0.12)), 100e-6);
}

TEST(ClockFit, PairsThatFollowSomebodyElseDoNotPull) {
  const auto line = [](double u) { return u; };
  std::vector<Pairing> pairs = pairs_along(600.0, 6.0, 4, line);
  for (std::size_t i = 0; i < pairs.size(); i += 3) pairs[i].line_s += 180e-6;
  const ClockFit fit = fit_clock(pairs, {}, {.gate_s = 120e-6});
  EXPECT_LT(worst_error_s(fit.curve, 600.0, line), 15e-6);
  EXPECT_EQ(fit.weights[0], 0.0);
}

struct Bend {
  const char* name;
  double ppm;
  double time_constant_s;
  bool bends;
  double limit_us;
};

class ClockFitOf : public testing::TestWithParam<Bend> {};

TEST_P(ClockFitOf, BendsOnlyWhereTheClockDoes) {
  const Bend& bend = GetParam();
  const auto line = [&](double u) {
    return u * (1.0 + 20e-6) +
           bend.ppm * 1e-6 * bend.time_constant_s * std::expm1(-u / bend.time_constant_s);
  };
  const ClockFit fit =
      fit_clock(pairs_along(3600.0, 10.0, 5, line), {}, {.max_slope = 50e-6, .gate_s = 120e-6});
  EXPECT_EQ(!fit.curve.is_straight(), bend.bends);
  EXPECT_LT(1e6 * worst_error_s(fit.curve, 3600.0, line), bend.limit_us);
}

// The limits: what 360 pairs of 20 us leave open, more at the ends of a bent curve.
INSTANTIATE_TEST_SUITE_P(Clocks, ClockFitOf,
                         testing::Values(Bend{"Steady", 0.0, 600.0, false, 4.0},
                                         Bend{"WarmingUp", 4.0, 600.0, true, 25.0},
                                         Bend{"WarmingUpSlowly", -6.0, 1800.0, true, 25.0}),
                         [](const auto& row) { return std::string(row.param.name); });

TEST(ClockFit, ACurveIsTheIntegralOfItsRate) {
  ClockCurve curve;
  curve.start_s = {5.0};
  curve.rate = 1.0 + 3e-6;
  curve.knots_s = {100.0, 400.0, 700.0};
  curve.bend_rates = {2e-6, -1e-6, 4e-6};
  double line_s = curve.line_s(0, 0.0);
  constexpr double kStep_s = 0.05;
  for (int i = 0; i < 20000; ++i) {
    line_s += kStep_s * curve.rate_at((i + 0.5) * kStep_s);
    if (i % 1000 == 999) {
      ASSERT_NEAR(curve.line_s(0, (i + 1) * kStep_s), line_s, 1e-9) << i;
    }
  }
}

TEST(ClockFit, NothingIsFoundInNothing) {
  EXPECT_FALSE(fit_clock({}, {}, {}).found);
  EXPECT_FALSE(fit_clock({{1.0, 1.0, 1e-5, -1}}, {}, {}).found);
}

}  // namespace
}  // namespace kilter::sync
