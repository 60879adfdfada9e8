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

}  // namespace
}  // namespace kilter::sync
