// How check tells where a stem stands: a drift from steps, and both from a single place.
#include "check_words.h"

#include <gtest/gtest.h>

#include "check_folder.h"

namespace kilter::commands {
namespace {

constexpr double kLimit_s = 1e-3;

sync::ResidualRun run(double from_s, double to_s, double late_s, double slope, int windows) {
  return {from_s, to_s, late_s, slope, 1e-6, 1e-9, windows};
}

sync::Residual of(std::vector<sync::ResidualRun> runs) {
  sync::Residual residual;
  residual.runs = std::move(runs);
  return residual;
}

TEST(CheckWords, ALineThatWasPartedIsOneDrift) {
  const auto residual =
      of({run(20.0, 40.0, -1.5e-3, -50e-6, 4), run(46.0, 62.0, -2.7e-3, -50e-6, 3),
          run(70.0, 170.0, -6e-3, -50e-6, 12)});
  const auto drift = drift_of(residual);
  ASSERT_TRUE(drift);
  EXPECT_NEAR(drift->slope(), -50e-6, 1e-9);
  EXPECT_EQ(course_text(residual, kLimit_s),
            " It drifts evenly, by 7.5 ms from 00:00:20.000 (1 ms early) to 00:02:50.000 (8.5 ms "
            "early): it runs 50 ppm too fast, 180 ms in an hour.");
}

TEST(CheckWords, StepsAreNoDrift) {
  const auto stairs = of({run(0.0, 50.0, 0.0, 0.0, 9), run(56.0, 106.0, 3e-3, 0.0, 9),
                          run(112.0, 162.0, 6e-3, 0.0, 9)});
  EXPECT_FALSE(drift_of(stairs));
  EXPECT_EQ(course_text(stairs, kLimit_s),
            " It stands in step from 00:00:00.000 to 00:00:50.000, 3 ms late from 00:00:56.000 to "
            "00:01:46.000, 6 ms late from 00:01:52.000 to 00:02:42.000.");
  // Two places lie on a line whatever they are.
  EXPECT_FALSE(drift_of(of({run(3.0, 3.0, 0.0, 0.0, 1), run(90.0, 90.0, 4e-3, 0.0, 1)})));
}

TEST(CheckWords, ASinglePlaceIsNoStretch) {
  const auto slip = of({run(3.0, 111.0, 0.8e-6, 0.0, 18), run(116.125, 116.125, 1.21e-3, 0.0, 1),
                        run(123.0, 177.0, 0.5e-6, 0.0, 9)});
  EXPECT_EQ(
      course_text(slip, kLimit_s),
      " It stands in step from 00:00:03.000 to 00:01:51.000, 1.21 ms late about 00:01:56.125, "
      "in step from 00:02:03.000 to 00:02:57.000.");
  sync::Phrase said;
  said.from_s = 115.25;
  said.to_s = 117.0;
  said.late_s = 1.2e-3;
  said.heard = true;
  sync::Phrase before = said;
  before.from_s = 112.0;
  before.to_s = 114.0;
  before.late_s = 0.0;
  EXPECT_NE(course_text(slip, kLimit_s, {before, said})
                .find("1.21 ms late from 00:01:55.250 to 00:01:57.000, in step"),
            std::string::npos);
  EXPECT_EQ(stretch_text(59.8, 60.1, 0), "about 00:01:00");
  EXPECT_EQ(stretch_text(59.8, 60.1), "from 00:00:59.800 to 00:01:00.100");
}

TEST(CheckWords, WhatKeepsItsPlaceHasNoCourse) {
  EXPECT_EQ(course_text(of({}), kLimit_s), "");
  EXPECT_EQ(course_text(of({run(0.0, 100.0, 5e-3, 1e-10, 20)}), kLimit_s), "");
  EXPECT_NE(course_text(of({run(0.0, 100.0, 5e-3, 10e-6, 20)}), kLimit_s), "");
}

TEST(CheckWords, TellsWhereNothingWasRecorded) {
  const auto gaps = gaps_between({{30.0, 40.0}, {-5.0, 10.0}, {8.0, 20.0}}, 60.0);
  ASSERT_EQ(gaps.size(), 2U);
  EXPECT_DOUBLE_EQ(gaps[0].line_from_s, 20.0);
  EXPECT_DOUBLE_EQ(gaps[0].line_to_s, 30.0);
  EXPECT_DOUBLE_EQ(gaps[1].line_from_s, 40.0);
  EXPECT_DOUBLE_EQ(gaps[1].line_to_s, 60.0);
  EXPECT_TRUE(gaps_between({{0.0, 60.0}}, 60.0).empty());
  EXPECT_EQ(gaps_between({}, 60.0).size(), 1U);
}

TEST(CheckWords, AStepIsAllThatComesAfterIt) {
  const auto hole = of({run(3.0, 87.0, 1e-6, 0.0, 14), run(135.5, 150.0, -0.3, 0.0, 2),
                        run(156.0, 167.4, -0.3001, 0.0, 2)});
  const auto step = step_of(hole, kLimit_s);
  ASSERT_TRUE(step);
  EXPECT_EQ(step->in_step_to_s, 87.0);
  EXPECT_EQ(step->off_from_s, 135.5);
  EXPECT_EQ(step->late_s, -0.3);
  EXPECT_EQ(course_text(hole, kLimit_s),
            " It stands in step with the mix up to 00:01:27.000, and 300 ms early from "
            "00:02:15.500 to its end: in between, it lost 300 ms.");
  EXPECT_EQ(step_mending(*step), "put 300 ms of silence in there");
  EXPECT_EQ(step_mending({1.0, 2.0, 0.05}), "take 50 ms out there");
  EXPECT_NE(step_text({1.0, 2.0, 0.05}).find("in between, it has 50 ms too much."),
            std::string::npos);
}

TEST(CheckWords, WhatComesBackOrIsOffFromItsStartIsNoStep) {
  EXPECT_FALSE(step_of(of({run(3.0, 87.0, 0.0, 0.0, 14), run(93.0, 99.0, -0.3, 0.0, 2),
                           run(105.0, 160.0, 0.0, 0.0, 9)}),
                       kLimit_s));
  EXPECT_FALSE(
      step_of(of({run(3.0, 87.0, -0.3, 0.0, 14), run(93.0, 160.0, 0.0, 0.0, 9)}), kLimit_s));
  EXPECT_FALSE(step_of(of({run(3.0, 87.0, 0.0, 0.0, 14), run(93.0, 99.0, -0.3, 0.0, 2),
                           run(105.0, 160.0, -0.5, 0.0, 9)}),
                       kLimit_s));
}

TEST(CheckWords, SingleSentencesNarrowAStep) {
  const auto hole = of({run(3.0, 87.0, 0.0, 0.0, 14), run(135.5, 167.4, -0.3, 0.0, 4)});
  sync::Phrase in_step;
  in_step.from_s = 95.0;
  in_step.to_s = 97.0;
  in_step.heard = true;
  sync::Phrase off = in_step;
  off.from_s = 120.0;
  off.to_s = 122.0;
  off.late_s = -0.3;
  const auto step = step_of(hole, kLimit_s, {in_step, off});
  ASSERT_TRUE(step);
  EXPECT_EQ(step->in_step_to_s, 97.0);
  EXPECT_EQ(step->off_from_s, 120.0);
}

}  // namespace
}  // namespace kilter::commands
