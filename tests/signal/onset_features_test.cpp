#include "kilter/signal/onset_features.h"

#include <gtest/gtest.h>

#include <cmath>

namespace kilter {
namespace {

std::vector<float> bursts(int seconds) {
  std::vector<float> x(static_cast<std::size_t>(seconds * kAnalysisRateHz), 0.0F);
  for (int s = 0; s < seconds; ++s)
    for (int i = 0; i < 1600; ++i)
      x[static_cast<std::size_t>(s * kAnalysisRateHz + 8000 + i)] =
          std::sin(0.4F * static_cast<float>(i));
  return x;
}

TEST(OnsetFeatures, RiseWhereSoundSetsInNotWhileItLastsNorInSilence) {
  const auto features = onset_features(MemorySignal(bursts(5)));
  ASSERT_TRUE(features);
  ASSERT_EQ(features->frames(), 500);
  const auto& band = features->bands[5];
  for (int s = 0; s < 5; ++s) {
    const auto at = static_cast<std::size_t>(s * 100 + 50);
    EXPECT_GT(std::max({band[at - 1], band[at], band[at + 1]}), 3 * kFeatureSteps);
    for (std::size_t i = at + 3; i < at + 8; ++i) EXPECT_LE(band[i], 0) << i;
    // The burst's sudden end, 10 frames on, is a click and may rise.
    for (std::size_t i = at + 13; i < std::min(at + 97, band.size()); ++i)
      EXPECT_LE(band[i], 0) << i;
  }
}

TEST(OnsetFeatures, DoNotChangeWithLevel) {
  auto quiet = bursts(3);
  for (float& v : quiet) v *= 0.001F;
  const auto a = onset_features(MemorySignal(bursts(3)));
  const auto b = onset_features(MemorySignal(quiet));
  ASSERT_TRUE(a && b);
  for (std::size_t i = 0; i < a->bands[3].size(); ++i)
    EXPECT_NEAR(a->bands[3][i], b->bands[3][i], 1);
}

TEST(OnsetFeatures, OfSilenceAreZero) {
  const auto features = onset_features(MemorySignal(std::vector<float>(16000, 0.0F)));
  ASSERT_TRUE(features);
  for (const auto& band : features->bands)
    for (const std::int8_t v : band) EXPECT_EQ(v, 0);
}

}  // namespace
}  // namespace kilter
