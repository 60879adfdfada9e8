#include "track_fit.h"

#include <gtest/gtest.h>

#include "heard_track.h"

namespace kilter::sync {
namespace {

/// A stream on the mix's clock, set back by 8 ms every 60 s: 133 ppm in the mean.
std::vector<HeardStretch> stairs() {
  std::vector<HeardStretch> stretches;
  for (int i = 0; i < 5; ++i)
    stretches.push_back({60.0 * i + 3.0, 60.0 * i + 57.0, 2.0 - 0.008 * i});
  return stretches;
}

TEST(Staircase, IsKnownByStepsOfOneKindAndStillnessBetween) {
  EXPECT_TRUE(goes_in_stairs(heard_track(298.0, stairs())));
  auto back_and_forth = stairs();
  back_and_forth[2].start_s = 2.0;
  EXPECT_FALSE(goes_in_stairs(heard_track(298.0, back_and_forth)));
  EXPECT_FALSE(goes_in_stairs(heard_track(298.0, {{3.0, 297.0, 2.0}})));
}

TEST(Staircase, BecomesALineThroughTheMiddlesOfItsSplices) {
  TrackState state = heard_track(298.0, stairs());
  ASSERT_EQ(state.steps.size(), 4U);
  for (int i = 0; i < 4; ++i) {  // as placed: just between two windows
    auto& step = state.steps[static_cast<std::size_t>(i)];
    step.mix_from_s = step.mix_to_s = 60.0 * (i + 1);
  }
  flatten_staircase(state);
  EXPECT_NEAR(state.splice_s, 0.008, 1e-6);
  EXPECT_EQ(state.splices, 4);
  EXPECT_TRUE(state.steps.empty());
  EXPECT_NEAR((state.curve.rate - 1.0) * 1e6, -133.33, 0.1);
  EXPECT_NEAR(state.curve.line_s(0, 60.0 - 1.996), 60.0, 1e-6);
}

/// The mix lost a minute: the first lane begins at 1.5 s, the second as given.
TrackState two_lanes(double second_start_s) {
  TrackState state = heard_track(300.0, {{6.0, 90.0, 1.5}});
  state.curve.start_s = {1.5, second_start_s};
  state.pieces = {{0.0, 100.0, 0}, {160.0, 300.0, 1}};
  make_map(state, {{0.0, kMixLength_s, 0.0, kMixLength_s, 0.0}});
  return state;
}

TEST(MakeMap, LetsALaneThatBeginsTooEarlyStartLaterOnItsOwnLine) {
  // Its first sound lies 5 ms before the first lane's last.
  const TrackState state = two_lanes(-58.505);
  ASSERT_TRUE(state.map);
  ASSERT_EQ(state.map->spans().size(), 2U);
  EXPECT_NEAR(state.map->spans()[1].from_s, 160.005, 1e-6);
  for (const double track_s : {161.0, 200.0, 299.0})
    EXPECT_NEAR(*state.map->to_line(track_s), track_s - 58.505, 1e-9);
}

TEST(MakeMap, LeavesALaneThatMeetsTheOtherAsItIs) {
  const TrackState state = two_lanes(-58.5);
  ASSERT_TRUE(state.map);
  ASSERT_EQ(state.map->spans().size(), 2U);
  EXPECT_NEAR(state.map->spans()[1].from_s, 160.0, 1e-9);
}

}  // namespace
}  // namespace kilter::sync
