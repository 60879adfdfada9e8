#include "kilter/intake/zero_runs.h"

#include <gtest/gtest.h>

namespace kilter::intake {
namespace {

constexpr SampleRate kRate{48000.0};

ZeroRun run(double from_s, double length_s, bool loud_before, bool loud_after) {
  const auto frames = [](double seconds) { return static_cast<std::int64_t>(48000.0 * seconds); };
  return {{frames(from_s)}, {frames(length_s)}, loud_before, loud_after};
}

TEST(ZeroTally, CountsZerosThatCutLoudSoundOff) {
  ZeroTally tally(kRate);
  tally.add(run(10.0, 1.0, true, false));
  tally.add(run(20.0, 2.0, false, false));  // in a pause
  tally.add(run(30.0, 0.5, true, true));
  EXPECT_EQ(tally.dropouts().runs, 2);
  EXPECT_EQ(tally.dropouts().frames.n, 72000);
  EXPECT_EQ(tally.dropouts().first.n, 480000);
}

TEST(ZeroTally, TakesManyOpeningsForAGates) {
  ZeroTally tally(kRate);
  const ZeroRun opening = run(10.0, 1.0, false, true);
  for (int i = 0; i < 3; ++i) tally.add(opening);
  EXPECT_EQ(tally.dropouts().runs, 3);
  EXPECT_TRUE(tally.counts(opening));
  tally.add(opening);
  EXPECT_EQ(tally.dropouts().runs, 0);
  EXPECT_FALSE(tally.counts(opening));
  EXPECT_TRUE(tally.counts(run(10.0, 1.0, true, true)));
}

TEST(ZeroTally, TakesMoreOfAMixThanOfAPersonWhoMutedHimself) {
  ZeroTally track(kRate);
  ZeroTally mix(kRate, Zeroed::mix);
  for (ZeroTally* tally : {&track, &mix}) {
    tally->add(run(10.0, 8.0, true, true));
    tally->add(run(30.0, 8.0, true, false));
    tally->add(run(50.0, 11.0, true, true));
  }
  EXPECT_EQ(track.dropouts().runs, 0);
  EXPECT_EQ(mix.dropouts().runs, 1);
}

TEST(ZeroTally, LeavesAMixWithManyZerosToItsTracks) {
  ZeroTally mix(kRate, Zeroed::mix);
  const ZeroRun hole = run(10.0, 1.0, true, true);
  mix.add(hole);
  for (int i = 0; i < 3; ++i) mix.add(run(20.0 + i, 0.5, false, false));
  EXPECT_EQ(mix.dropouts().runs, 1);
  mix.add(run(30.0, 0.5, false, true));
  EXPECT_EQ(mix.dropouts().runs, 0);
  EXPECT_FALSE(mix.counts(hole));
}

TEST(ZeroInAll, KeepsWhatAllChannelsHave) {
  const std::vector<ZeroRun> left{run(10.0, 4.0, true, false), run(20.0, 1.0, true, true)};
  const std::vector<ZeroRun> right{run(12.0, 4.0, false, true), run(20.0, 1.0, false, true),
                                   run(30.0, 1.0, true, true)};
  const auto both = zero_in_all({left, right});
  ASSERT_EQ(both.size(), 2U);
  EXPECT_EQ(both[0].from.n, 12 * 48000);
  EXPECT_EQ(both[0].length.n, 2 * 48000);
  EXPECT_FALSE(both[0].loud_before);
  EXPECT_FALSE(both[0].loud_after);
  EXPECT_TRUE(both[1].loud_before);
  EXPECT_TRUE(both[1].loud_after);
  EXPECT_TRUE(zero_in_all({left, {}}).empty());
  EXPECT_TRUE(zero_in_all({}).empty());
}

}  // namespace
}  // namespace kilter::intake
