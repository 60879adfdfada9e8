#include "kilter/sync/line_fit.h"

#include <gtest/gtest.h>

#include "simulator/random.h"

namespace kilter::sync {
namespace {

constexpr LineFitOptions kOptions{.max_slope = 100e-6, .cluster_s = 1e-3, .sigma_floor_s = 1e-6};

TEST(LineFit, RecoversALineFromNoisyOffsetsWithinItsOwnStandardErrors) {
  simulator::Random random({7});
  std::vector<Observation> all;
  for (int i = 0; i < 60; ++i) {
    const double t = 8.0 * i;
    all.push_back({t, 0.3e-3 - 4e-6 * t + 10e-6 * static_cast<double>(random.noise()), 10e-6});
  }
  const LineFit fit = fit_line(all, kOptions);
  ASSERT_TRUE(fit.found);
  for (const double t : {0.0, 240.0, 480.0})
    EXPECT_NEAR(fit.at(t), 0.3e-3 - 4e-6 * t, 4.0 * fit.sigma_at(t)) << t;
  EXPECT_NEAR(fit.slope, -4e-6, 4.0 * fit.slope_sigma);
  EXPECT_LT(fit.sigma_at(0.0), 5e-6);  // 10 us over the root of 60, doubled at the end
  EXPECT_GE(fit.used, 55);
}

TEST(LineFit, StartsFromTheDensestClusterNotFromTheMean) {
  // A third of the windows on the truth, the rest scattered over the bleed delays of two
  // neighbours.
  simulator::Random random({8});
  std::vector<Observation> all;
  for (int i = 0; i < 90; ++i) {
    const double offset_s = i % 3 == 0 ? 0.0 : 3e-3 + 4e-3 * random.uniform();
    all.push_back({5.0 * i, offset_s + 5e-6 * static_cast<double>(random.noise()), 5e-6});
  }
  const LineFit fit =
      fit_line(all, {.max_slope = 20e-6, .cluster_s = 0.2e-3, .sigma_floor_s = 1e-6});
  ASSERT_TRUE(fit.found);
  EXPECT_NEAR(fit.at(225.0), 0.0, 5e-6);
  EXPECT_NEAR(fit.used_share, 1.0 / 3.0, 0.1);
}

TEST(LineFit, SaysThatOneObservationKnowsNoSlope) {
  const LineFit fit = fit_line({{100.0, 2e-4, 3e-6}}, kOptions);
  ASSERT_TRUE(fit.found);
  EXPECT_NEAR(fit.at(100.0), 2e-4, 1e-12);
  EXPECT_EQ(fit.slope, 0.0);
  EXPECT_GT(fit.sigma_at(0.0), 5e-3);  // 100 s away, give or take 100 ppm
}

TEST(LineFit, WidensItsErrorWhereTheOffsetsScatterMoreThanTheySay) {
  simulator::Random random({9});
  std::vector<Observation> all;
  for (int i = 0; i < 40; ++i)
    all.push_back({10.0 * i, 50e-6 * static_cast<double>(random.noise()), 1e-6});
  const LineFit fit = fit_line(all, kOptions);
  EXPECT_GT(fit.offset_sigma_s, 4e-6);  // 50 us over the root of 40 is 7.9 us
}

TEST(LineFit, OfNothingIsNotFound) { EXPECT_FALSE(fit_line({}, kOptions).found); }

}  // namespace
}  // namespace kilter::sync
