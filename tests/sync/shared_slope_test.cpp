#include "shared_slope.h"

#include <gtest/gtest.h>

#include <random>

namespace kilter::sync {
namespace {

constexpr double kMaxSlope = 250e-6;

/// Windows every 2.5 s from `from_s`, each on one of the lines.
std::vector<Observation> heard(double from_s, double to_s, double slope,
                               const std::vector<double>& lines_s, std::uint32_t seed) {
  std::mt19937 random(seed);
  std::vector<Observation> observations;
  for (double at_s = from_s; at_s < to_s; at_s += 2.5) {
    const double noise_s = 20e-6 * (static_cast<double>(random() % 1000) / 500.0 - 1.0);
    observations.push_back(
        {at_s, lines_s[random() % lines_s.size()] + slope * at_s + noise_s, 1e-6});
  }
  return observations;
}

TEST(SharedSlope, IsThatOfAllVoicesThatAMicrophoneFollows) {
  for (std::uint32_t seed = 1; seed <= 20; ++seed)
    for (const double slope : {-90e-6, -38.8e-6, 0.0, 60e-6}) {
      const auto found =
          shared_slope({heard(0.0, 35.0, slope, {0.0, -0.008, 0.0057}, seed),
                        heard(41.0, 100.0, slope, {0.054, 0.058, 0.061}, seed + 100)},
                       kMaxSlope);
      ASSERT_TRUE(found) << "seed " << seed << ", slope " << slope;
      EXPECT_NEAR(*found, slope, 2e-6) << "seed " << seed;
    }
}

TEST(SharedSlope, IsNoneForOffsetsByChance) {
  int found = 0;
  for (std::uint32_t seed = 1; seed <= 100; ++seed) {
    std::mt19937 random(seed);
    std::vector<Observation> observations;
    for (int i = 0; i < 40; ++i)
      observations.push_back({i * 2.5, 0.05 * static_cast<double>(random() % 10000) / 1e4, 1e-6});
    if (shared_slope({observations}, kMaxSlope)) ++found;
  }
  EXPECT_LE(found, 1);
}

TEST(SharedSlope, IsNoneForAFewWindows) {
  EXPECT_FALSE(shared_slope({}, kMaxSlope));
  EXPECT_FALSE(shared_slope({{}, {{1.0, 0.0, 1e-6}}}, kMaxSlope));
  EXPECT_FALSE(
      shared_slope({{{0.0, 0.0, 1e-6}, {10.0, 1e-4, 1e-6}, {20.0, 2e-4, 1e-6}}}, kMaxSlope));
}

}  // namespace
}  // namespace kilter::sync
