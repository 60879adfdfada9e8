#include "kilter/base/time_map.h"

#include <gtest/gtest.h>

#include <limits>

namespace kilter {
namespace {

TEST(TimeMap, RoundTripsThroughItsInverse) {
  const auto map =
      TimeMap::make({{0.0, 100.0, 12.5, 112.501, 1.0}, {101.7, 300.0, 114.0, 312.29, 1.0}});
  ASSERT_TRUE(map);
  for (const double track_s : {0.0, 0.1, 57.25, 99.999, 101.7, 200.0, 300.0}) {
    const auto line_s = map->to_line(track_s);
    ASSERT_TRUE(line_s) << track_s;
    const auto back = map->to_track(*line_s);
    ASSERT_TRUE(back) << track_s;
    EXPECT_NEAR(*back, track_s, 1e-11);
  }
}

TEST(TimeMap, GivesNothingBetweenItsSpansAndOutsideThem) {
  const auto map = TimeMap::make({{0.0, 10.0, 5.0, 15.0, 1.0}, {12.0, 20.0, 16.0, 24.0, 1.0}});
  ASSERT_TRUE(map);
  EXPECT_FALSE(map->to_line(-0.001));
  EXPECT_FALSE(map->to_line(11.0));
  EXPECT_FALSE(map->to_line(20.001));
  EXPECT_FALSE(map->to_track(4.999));
  EXPECT_FALSE(map->to_track(15.5));
  EXPECT_FALSE(map->to_track(24.001));
}

TEST(TimeMap, ALineKeepsItsStartAndDrift) {
  const auto map = TimeMap::line(-3.25, 87.5, 3600.0, 2.0);
  ASSERT_TRUE(map);
  EXPECT_DOUBLE_EQ(map->start_s(), -3.25);
  EXPECT_NEAR(map->drift_ppm(), 87.5, 1e-7);
  // A clock 87.5 ppm fast fills 3600 s of track in 3599.685 s of timeline.
  EXPECT_NEAR(*map->to_line(3600.0), -3.25 + 3600.0 / 1.0000875, 1e-9);
}

TEST(TimeMap, HoldsNothingThatIsNoNumber) {
  const auto map = TimeMap::line(1.0, 20.0, 60.0, 1.0);
  ASSERT_TRUE(map);
  EXPECT_FALSE(map->to_line(std::numeric_limits<double>::quiet_NaN()));
  EXPECT_FALSE(map->to_track(std::numeric_limits<double>::quiet_NaN()));
}

struct Malformed {
  const char* name;
  std::vector<Span> spans;
};

class MalformedTimeMap : public testing::TestWithParam<Malformed> {};

TEST_P(MalformedTimeMap, IsRefused) { EXPECT_FALSE(TimeMap::make(GetParam().spans)); }

INSTANTIATE_TEST_SUITE_P(
    All, MalformedTimeMap,
    testing::Values(
        Malformed{"NoSpan", {}}, Malformed{"EmptySpan", {{1.0, 1.0, 0.0, 1.0, 0.0}}},
        Malformed{"BackwardsOnTheTimeline", {{0.0, 1.0, 2.0, 1.0, 0.0}}},
        Malformed{"OverlapInTheTrack", {{0.0, 2.0, 0.0, 2.0, 0.0}, {1.9, 3.0, 2.0, 3.0, 0.0}}},
        Malformed{"OverlapOnTheTimeline", {{0.0, 2.0, 0.0, 2.0, 0.0}, {2.0, 3.0, 1.9, 3.0, 0.0}}},
        Malformed{"NotANumber", {{0.0, std::numeric_limits<double>::quiet_NaN(), 0.0, 1.0, 0.0}}},
        Malformed{"BeyondAllRecordings", {{0.0, 1e9 + 1.0, 0.0, 1e9 + 1.0, 0.0}}},
        Malformed{"BeforeAllRecordings", {{0.0, 1.0, -1e300, 1.0, 0.0}}},
        Malformed{"AllButASecondLost", {{0.0, 1.0, 0.0, 1.1e6, 0.0}}},
        Malformed{"SqueezedToNothing", {{0.0, 1.0, 0.0, 5e-324, 0.0}}},
        Malformed{"Infinite", {{0.0, std::numeric_limits<double>::infinity(), 0.0, 1.0, 0.0}}}),
    [](const auto& each) { return each.param.name; });

}  // namespace
}  // namespace kilter
