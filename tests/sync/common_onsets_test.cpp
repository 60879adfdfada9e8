#include "common_onsets.h"

#include <gtest/gtest.h>

#include <cmath>

#include "random_features.h"

namespace kilter::sync {
namespace {

OnsetFeatures random_features(std::uint64_t seed, int frames) {
  return test::random_features(seed, frames, 124);
}

/// Frame by frame through both maps, over all minutes.
double slowly(const MappedFeatures& a, const MappedFeatures& b) {
  double together = 0.0, of_a = 0.0, of_b = 0.0;
  for (std::int64_t t = 0; t < a.features->frames(); ++t) {
    const auto line_s = a.map->to_line(static_cast<double>(t) / kFeatureRateHz);
    const auto b_s = line_s ? b.map->to_track(*line_s) : std::nullopt;
    if (!b_s) continue;
    const auto there = static_cast<std::int64_t>(std::llround(*b_s * kFeatureRateHz));
    if (there >= b.features->frames()) continue;
    for (std::size_t band = 0; band < kFeatureBands; ++band) {
      const double x = a.features->bands[band][static_cast<std::size_t>(t)];
      const double y = b.features->bands[band][static_cast<std::size_t>(there)];
      together += x * y;
      of_a += x * x;
      of_b += y * y;
    }
  }
  return of_a > 0.0 && of_b > 0.0 ? together / std::sqrt(of_a * of_b) : 0.0;
}

struct MapsCase {
  const char* name;
  std::vector<Span> a;
  std::vector<Span> b;
};
class CommonOnsets : public testing::TestWithParam<MapsCase> {};

TEST_P(CommonOnsets, AreTheSameSecondBySecondAsFrameByFrame) {
  const OnsetFeatures of_a = random_features(1, 30123);
  OnsetFeatures of_b = random_features(2, 28017);
  for (std::size_t band = 0; band < kFeatureBands; ++band)  // a third is heard on both
    for (std::size_t t = 0; t < 9000; ++t) of_b.bands[band][t + 500] = of_a.bands[band][t];
  const auto map_a = TimeMap::make(GetParam().a);
  const auto map_b = TimeMap::make(GetParam().b);
  ASSERT_TRUE(map_a && map_b);
  const MappedFeatures a{&of_a, &*map_a};
  const MappedFeatures b{&of_b, &*map_b};
  // Whole numbers are summed: nothing is rounded before the root.
  EXPECT_EQ(onsets_in_common(a, b), slowly(a, b));
  EXPECT_EQ(onsets_in_common(b, a), slowly(b, a));
}

INSTANTIATE_TEST_SUITE_P(
    Maps, CommonOnsets,
    testing::Values(
        MapsCase{"OneClock", {{0.0, 301.23, 5.0, 306.23}}, {{0.0, 280.17, 0.0, 280.17}}},
        MapsCase{"TwoClocks", {{0.0, 301.23, 5.0, 306.26}}, {{0.0, 280.17, 0.0, 280.14}}},
        MapsCase{"ASeamInsideASecond",
                 {{0.0, 100.37, 5.0, 105.37}, {100.37, 301.23, 105.62, 306.48}},
                 {{0.0, 280.17, 0.0, 280.17}}},
        MapsCase{"HolesOfWhichTheEndsOfASecondSayNothing",
                 {{0.0, 90.21, 5.0, 95.21}, {90.45, 301.23, 95.45, 306.23}},
                 {{0.0, 70.33, 0.0, 70.33}, {70.66, 280.17, 70.66, 280.17}}},
        MapsCase{"TheyNeverMeet", {{0.0, 301.23, 1000.0, 1301.23}}, {{0.0, 280.17, 0.0, 280.17}}}),
    [](const auto& each) { return each.param.name; });

}  // namespace
}  // namespace kilter::sync
