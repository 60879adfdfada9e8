#include "kilter/sync/first_map.h"

#include <gtest/gtest.h>

#include <cmath>
#include <utility>
#include <vector>

#include "random_features.h"

namespace kilter::sync {
namespace {

OnsetFeatures random_features(std::uint64_t seed, int frames) {
  return test::random_features(seed, frames, 78);
}

/// `frames` of `from` beginning at `first`, stretched by a clock `ppm` fast.
OnsetFeatures cut(const OnsetFeatures& from, int first, int frames, double ppm) {
  OnsetFeatures features;
  for (std::size_t b = 0; b < kFeatureBands; ++b)
    for (int i = 0; i < frames; ++i) {
      const auto at = static_cast<std::int64_t>(std::lround(first + i / (1.0 + ppm * 1e-6)));
      const bool inside = at >= 0 && at < from.frames();
      features.bands[b].push_back(inside ? from.bands[b][static_cast<std::size_t>(at)]
                                         : std::int8_t{0});
    }
  return features;
}

struct MapCase {
  const char* name;
  int first;
  int frames;
  double ppm;
};
class FirstMapFinds : public testing::TestWithParam<MapCase> {};

TEST_P(FirstMapFinds, TheTrackWithinAFrame) {
  const auto [name, first, frames, ppm] = GetParam();
  const OnsetFeatures reference = random_features(1, 60000);
  const FirstMap map = first_map(reference, cut(reference, first, frames, ppm));
  ASSERT_TRUE(map.found);
  // One feature frame is 10 ms; the stages after this one search +-50 ms.
  for (const double part : {0.1, 0.5, 0.9}) {
    const double track_s = part * frames / kFeatureRateHz;
    const double truth_s = first / 100.0 + track_s / (1.0 + ppm * 1e-6);
    EXPECT_NEAR(map.to_reference_s(track_s), truth_s, 0.010);
  }
}

INSTANTIATE_TEST_SUITE_P(Tracks, FirstMapFinds,
                         testing::Values(MapCase{"InTheMiddle", 12345, 30000, 0.0},
                                         MapCase{"StartedBeforeTheMix", -9000, 40000, 0.0},
                                         MapCase{"RunsOnAfterTheMix", 40000, 50000, 0.0},
                                         MapCase{"FastClock", 5000, 50000, 100.0},
                                         MapCase{"SlowClock", 5000, 50000, -250.0},
                                         MapCase{"ShorterThanAChunk", 33333, 2500, 0.0}),
                         [](const auto& each) { return each.param.name; });

/// Parts of `from` one after another, each beginning where the one before ended but for a step.
OnsetFeatures stepped(const OnsetFeatures& from, double ppm,
                      const std::vector<std::pair<int, double>>& lengths_and_steps_s) {
  OnsetFeatures features;
  double begin_s = 15.0;
  for (const auto& [frames, step_s] : lengths_and_steps_s) {
    const OnsetFeatures part =
        cut(from, static_cast<int>(std::lround(begin_s * kFeatureRateHz)), frames, ppm);
    for (std::size_t b = 0; b < kFeatureBands; ++b)
      features.bands[b].insert(features.bands[b].end(), part.bands[b].begin(), part.bands[b].end());
    begin_s += frames / (kFeatureRateHz * (1.0 + ppm * 1e-6)) + step_s;
  }
  return features;
}

TEST(FirstMap, OfATrackThatStepsTakesNoStepForADrift) {
  const OnsetFeatures reference = random_features(1, 130000);
  for (const double ppm : {-87.0, 0.0, 60.0}) {
    const OnsetFeatures track =
        stepped(reference, ppm, {{30000, 0.08}, {30000, -0.4}, {30000, 2.5}, {30000, 0.0}});
    const FirstMap plain = first_map(reference, track);
    ASSERT_TRUE(plain.found);
    const FirstMap map = with_drift_between_steps(plain);
    EXPECT_NEAR(map.drift_ppm, ppm, 40.0) << "from " << plain.drift_ppm;
    EXPECT_EQ(map.votes.size(), plain.votes.size());
  }
}

TEST(FirstMap, OfATrackWithoutStepsHasThatDriftToo) {
  const OnsetFeatures reference = random_features(1, 60000);
  const FirstMap plain = first_map(reference, cut(reference, 5000, 50000, 100.0));
  EXPECT_NEAR(with_drift_between_steps(plain).drift_ppm, plain.drift_ppm, 5.0);
}

TEST(FirstMap, OfAnotherSessionIsNotFound) {
  const OnsetFeatures reference = random_features(1, 60000);
  for (std::uint64_t seed = 2; seed < 12; ++seed)
    EXPECT_FALSE(first_map(reference, random_features(seed, 30000)).found) << seed;
}

TEST(FirstMap, OfSilenceOrNothingIsNotFound) {
  const OnsetFeatures reference = random_features(1, 10000);
  OnsetFeatures silence;
  EXPECT_FALSE(first_map(reference, silence).found);
  for (auto& band : silence.bands) band.assign(5000, std::int8_t{0});
  EXPECT_FALSE(first_map(reference, silence).found);
  EXPECT_FALSE(first_map(OnsetFeatures{}, reference).found);
}

}  // namespace
}  // namespace kilter::sync
