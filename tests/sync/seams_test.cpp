#include "seams.h"

#include <gtest/gtest.h>

#include <cmath>

#include "heard_track.h"
#include "mix_timeline.h"
#include "passing_voices.h"
#include "recorder_fit.h"
#include "recorders.h"
#include "seam_cuts.h"
#include "seam_gathering.h"

namespace kilter::sync {
namespace {

std::vector<Seam> seams_of(std::vector<TrackState>& states, const std::vector<bool>& remote) {
  find_recorders(states);
  return gather_seams(states, remote);
}

TEST(GatherSeams, BlamesTheTrackThatStepsWhereItsSiblingRunsThrough) {
  std::vector<TrackState> states{heard_track(299.5, {{6.0, 120.0, 1.5}, {132.0, 290.0, 2.0}}),
                                 heard_track(300.0, {{6.0, 290.0, 1.5}}),
                                 heard_track(305.0, {{6.0, 290.0, -4.0}}, 30.0)};
  const auto seams = seams_of(states, {false, false, true});
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_EQ(seams[0].cause, SeamCause::track);
  EXPECT_EQ(seams[0].tracks, std::vector<std::size_t>{0});
  EXPECT_NEAR(seams[0].step_s, 0.5, 1e-5);
}

TEST(GatherSeams, TakesASmallStepThatASiblingOfTheSameLengthDoesNotShareForANeighboursVoice) {
  const std::vector<HeardStretch> follows{{6.0, 120.0, 1.5}, {132.0, 290.0, 1.494}};
  std::vector<TrackState> states{heard_track(300.0, follows),
                                 heard_track(300.0, {{6.0, 290.0, 1.5}})};
  ASSERT_EQ(states[0].steps.size(), 1U);
  EXPECT_TRUE(seams_of(states, {false, false}).empty());

  states = {heard_track(299.994, follows), heard_track(300.0, {{6.0, 290.0, 1.5}})};
  EXPECT_EQ(seams_of(states, {false, false}).size(), 1U) << "a shorter file has lost something";
}

TEST(GatherSeams, TakesARecordersStepFromTheEarliestLineOnEitherSide) {
  // The first follows a neighbour 7 ms away before the seam, the second one 5 ms away after it.
  std::vector<TrackState> states{heard_track(300.0, {{6.0, 120.0, 1.493}, {132.0, 290.0, 1.58}}),
                                 heard_track(300.0, {{6.0, 120.0, 1.5}, {132.0, 290.0, 1.575}}),
                                 heard_track(305.0, {{6.0, 290.0, -4.0}}, 30.0)};
  for (TrackState& state : states) state.recorder = 0;
  states[2].recorder = 1;
  const auto seams = gather_seams(states, {false, false, true});
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_EQ(seams[0].cause, SeamCause::recorder);
  EXPECT_EQ(seams[0].tracks.size(), 2U);
  EXPECT_NEAR(seams[0].step_s, 0.080, 1e-5);
}

TEST(GatherSeams, TakesNoRecordersStepFromALineThatMostWindowsContradict) {
  std::vector<TrackState> states{heard_track(300.0, {{6.0, 120.0, 1.5}, {132.0, 290.0, 1.75}}),
                                 heard_track(300.0, {{6.0, 120.0, 1.504}, {132.0, 290.0, 1.75}}),
                                 heard_track(305.0, {{6.0, 290.0, -4.0}}, 30.0)};
  for (TrackState& state : states) state.recorder = 0;
  states[2].recorder = 1;
  states[0].used_share = 0.8;
  states[1].used_share = 0.25;
  auto seams = gather_seams(states, {false, false, true});
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_NEAR(seams[0].step_s, 0.25, 1e-5);
  // Trusted alike, the one that is earlier there has the say.
  states[1].used_share = 0.8;
  seams = gather_seams(states, {false, false, true});
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_NEAR(seams[0].step_s, 0.246, 1e-5);
}

TEST(GatherSeams, BlamesTheMixForAStepOfTwoRecordersAndIsSureOfIt) {
  std::vector<TrackState> states{heard_track(300.0, {{6.0, 120.0, 1.5}, {132.0, 290.0, 1.1}}),
                                 heard_track(305.0, {{6.0, 114.0, -4.0}, {138.0, 290.0, -4.4}})};
  const auto seams = seams_of(states, {false, true});
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_EQ(seams[0].cause, SeamCause::mix);
  EXPECT_FALSE(seams[0].unsure);
}

TEST(GatherSeams, IsUnsureOfTheMixWhereOnlyOneRecorderShowsTheStep) {
  // The guest speaks only long before.
  std::vector<TrackState> states{heard_track(300.0, {{6.0, 120.0, 1.5}, {132.0, 290.0, 1.1}}),
                                 heard_track(305.0, {{6.0, 60.0, -4.0}}, 30.0)};
  const auto seams = seams_of(states, {false, true});
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_TRUE(seams[0].unsure);
}

TEST(GatherSeams, DoesNotTakeATrackWhoseDriftMayHideTheStepForOneThatRunsThrough) {
  const auto cause_beside = [](double drift_ppm) {
    std::vector<TrackState> states{heard_track(300.0, {{6.0, 120.0, 1.5}, {132.0, 290.0, 1.48}}),
                                   heard_track(300.0, {{6.0, 114.0, 1.5}, {138.0, 290.0, 1.48}}),
                                   heard_track(305.0, {{6.0, 290.0, -4.0}}, drift_ppm)};
    const auto seams = seams_of(states, {false, false, true});
    EXPECT_EQ(seams.size(), 1U);
    return seams.empty() ? SeamCause::track : seams[0].cause;
  };
  EXPECT_EQ(cause_beside(30.0), SeamCause::recorder);
  EXPECT_EQ(cause_beside(-230.0), SeamCause::mix);
}

TEST(GatherSeams, BlamesTheTrackThatIsShorterThanItsSiblingByJustTheStep) {
  // Neither the sibling nor the guest speaks once the track is back.
  const std::vector<TrackState> whole{heard_track(300.0, {{6.0, 120.0, 1.5}}),
                                      heard_track(305.0, {{6.0, 110.0, -4.0}}, 30.0)};
  const std::vector<HeardStretch> stretches{{6.0, 120.0, 1.5}, {150.0, 290.0, 9.5}};
  std::vector<TrackState> states{heard_track(292.0, stretches), whole[0], whole[1]};
  auto seams = seams_of(states, {false, false, true});
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_EQ(seams[0].cause, SeamCause::track);
  EXPECT_EQ(seams[0].tracks, std::vector<std::size_t>{0});
  EXPECT_FALSE(seams[0].unsure);

  states = {heard_track(290.0, stretches), whole[0], whole[1]};
  seams = seams_of(states, {false, false, true});
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_TRUE(seams[0].unsure) << "its length says nothing";
}

TEST(GatherSeams, DoesNotTakeAWindowBesideTheSeamForATrackThatRunsThrough) {
  // Its first window ends where the other's last one before the seam begins to.
  std::vector<TrackState> states{heard_track(300.0, {{6.0, 120.0, 1.5}, {132.0, 290.0, 1.9}}),
                                 heard_track(305.0, {{120.0, 290.0, -4.0}}, 30.0)};
  const auto seams = seams_of(states, {false, true});
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_TRUE(seams[0].unsure);
}

TEST(GatherSeams, TellsAGuestsOwnStepFromTheMixsInOneGap) {
  // The guest says nothing from before the mix's seam until after his own.
  std::vector<TrackState> states{heard_track(300.0, {{6.0, 120.0, 1.5}, {132.0, 290.0, 0.9}}),
                                 heard_track(302.0, {{6.0, 120.0, 0.5}, {132.0, 290.0, -0.1}}),
                                 heard_track(305.0, {{6.0, 90.0, -4.0}, {198.0, 290.0, -4.55}})};
  const auto seams = seams_of(states, {false, false, true});
  ASSERT_EQ(seams.size(), 2U);
  const Seam& mixs = seams[0].cause == SeamCause::mix ? seams[0] : seams[1];
  const Seam& own = seams[0].cause == SeamCause::mix ? seams[1] : seams[0];
  EXPECT_EQ(mixs.cause, SeamCause::mix);
  EXPECT_NEAR(mixs.step_s, -0.6, 1e-5);
  EXPECT_EQ(own.tracks, std::vector<std::size_t>{2});
  EXPECT_NEAR(own.step_s, 0.05, 1e-5);
  EXPECT_NEAR(own.others_part_s, -0.6, 1e-5);
}

TEST(GatherSeams, TakesOneStepOverTwoOfTheMixsForTheirSum) {
  // The guest says nothing from before the first until after the second.
  std::vector<TrackState> states{
      heard_track(300.25, {{6.0, 90.0, 1.5}, {96.0, 150.0, 1.25}, {156.0, 290.0, 1.75}}),
      heard_track(302.0, {{6.0, 90.0, 0.5}, {96.0, 150.0, 0.25}, {156.0, 290.0, 0.75}}),
      heard_track(305.0, {{6.0, 72.0, -4.0}, {162.0, 290.0, -3.75}})};
  const auto seams = seams_of(states, {false, false, true});
  ASSERT_EQ(seams.size(), 2U);
  EXPECT_NEAR(seams[0].step_s, -0.25, 1e-5);
  EXPECT_NEAR(seams[1].step_s, 0.5, 1e-5);
  for (const Seam& seam : seams) {
    EXPECT_EQ(seam.cause, SeamCause::mix);
    EXPECT_EQ(seam.tracks.size(), 3U);
    EXPECT_FALSE(seam.in_both);
  }
}

TEST(GatherSeams, LookForTheMixsStepWhereWindowsThatReachOverItOverlap) {
  // One is heard before it in a window round 120 s, and the other after it in one round 117 s.
  std::vector<TrackState> states{heard_track(300.0, {{6.0, 120.0, 1.5}, {144.0, 290.0, 1.56}}),
                                 heard_track(305.0, {{9.0, 93.0, -4.0}, {117.0, 290.0, -3.94}})};
  const auto seams = seams_of(states, {false, true});
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_EQ(seams[0].cause, SeamCause::mix);
  EXPECT_LT(seams[0].mix_from_s, 117.0);
  EXPECT_GT(seams[0].mix_to_s, 120.0);
  EXPECT_LT(seams[0].mix_to_s, 123.0);
}

TEST(CutAtSeams, PutsATrackHeardOnlyBehindTheMixsStepThereThoughAWindowReachesOverIt) {
  std::vector<TrackState> states{heard_track(300.0, {{6.0, 120.0, 1.5}, {126.0, 290.0, 1.56}}),
                                 heard_track(305.0, {{120.0, 290.0, -3.94}})};
  find_recorders(states);
  auto seams = gather_seams(states, {false, true});
  ASSERT_EQ(seams.size(), 1U);
  seams[0].cause = SeamCause::mix;
  seams[0].place.mix_end_s = 121.0;
  seams[0].place.mix_from_s = 121.06;
  const std::vector<Span> spans = mix_spans_of(seams, 300.0);
  for (const auto& members : members_of_recorders(states))
    cut_at_seams(seams, members, spans, states);
  EXPECT_NEAR(states[0].curve.start_s.front(), 1.5, 1e-5);
  EXPECT_NEAR(states[1].curve.start_s.front(), -4.0, 1e-5);
}

TEST(GatherSeams, TellsATracksOwnStepFromItsRecordersInOneGap) {
  // The first says nothing from before its own loss until after the recorder's.
  std::vector<TrackState> states{heard_track(299.48, {{6.0, 120.0, 1.5}, {138.0, 290.0, 2.02}}),
                                 heard_track(299.6, {{6.0, 126.0, 1.5}, {138.0, 290.0, 1.9}}),
                                 heard_track(299.6, {{6.0, 126.0, 1.5}, {138.0, 290.0, 1.9}}),
                                 heard_track(305.0, {{6.0, 290.0, -4.0}}, 30.0)};
  auto seams = seams_of(states, {false, false, false, true});
  ASSERT_EQ(seams.size(), 2U);
  const Seam& shared = seams[0].cause == SeamCause::recorder ? seams[0] : seams[1];
  const Seam& own = seams[0].cause == SeamCause::recorder ? seams[1] : seams[0];
  EXPECT_EQ(shared.cause, SeamCause::recorder);
  EXPECT_NEAR(shared.step_s, 0.4, 1e-5);
  EXPECT_EQ(own.cause, SeamCause::track);
  EXPECT_EQ(own.tracks, std::vector<std::size_t>{0});
  EXPECT_NEAR(own.step_s, 0.12, 1e-5);
  EXPECT_NEAR(own.others_part_s, 0.4, 1e-5);

  // One that is not heard any more once the recorder has lost something has both to itself.
  states[0] = heard_track(299.48, {{6.0, 120.0, 1.5}, {132.0, 133.0, 1.62}});
  seams = seams_of(states, {false, false, false, true});
  for (const Seam& seam : seams)
    if (seam.tracks == std::vector<std::size_t>{0}) {
      EXPECT_EQ(seam.others_part_s, 0.0);
    }
}

TEST(LeaveOutPassingVoices, TakesANeighbourHeardAfterALossForNoSecondLoss) {
  // A neighbour 6 ms away speaks for 6 s after the loss of 64 ms.
  std::vector<HeardStretch> stretches{{6.0, 120.0, 1.5}};
  for (double at_s = 126.0; at_s <= 132.0; at_s += 1.0) stretches.push_back({at_s, at_s, 1.558});
  stretches.push_back({138.0, 290.0, 1.564});
  std::vector<TrackState> states{heard_track(299.936, stretches),
                                 heard_track(300.0, {{6.0, 290.0, 1.5}})};
  ASSERT_EQ(states[0].steps.size(), 2U);
  find_recorders(states);
  ASSERT_EQ(states[0].recorder, states[1].recorder);
  leave_out_passing_voices({false, false}, states);
  ASSERT_EQ(states[0].steps.size(), 1U);
  EXPECT_NEAR(states[0].steps[0].step_s, 0.064, 1e-5);
  EXPECT_EQ(states[0].steps[0].mix_from_s, 120.0);
  EXPECT_EQ(states[0].steps[0].mix_to_s, 138.0);
  EXPECT_EQ(states[0].pieces.size(), 2U);
  EXPECT_EQ(states[0].curve.start_s.size(), 2U);
  EXPECT_NEAR(states[0].curve.start_s[1], 1.564, 1e-5);
  const auto seams = gather_seams(states, {false, false});
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_NEAR(seams[0].step_s, 0.064, 1e-5);

  // Nobody sits beside a guest, and what lasts is a level of its own.
  states = {heard_track(299.936, stretches), heard_track(310.0, {{6.0, 290.0, -4.0}}, 30.0)};
  find_recorders(states);
  leave_out_passing_voices({true, true}, states);
  EXPECT_EQ(states[0].steps.size(), 2U);
  states = {heard_track(299.936, {{6.0, 120.0, 1.5}, {126.0, 192.0, 1.558}, {198.0, 290.0, 1.564}}),
            heard_track(300.0, {{6.0, 290.0, 1.5}})};
  find_recorders(states);
  leave_out_passing_voices({false, false}, states);
  EXPECT_EQ(states[0].steps.size(), 2U);
}

TEST(FitRecordersAndMix, FindsTheMixsStepThoughTheClocksHaveTakenUpWhatWasWrongOfIt) {
  std::vector<TrackState> states{
      heard_track(300.25, {{6.0, 90.0, 1.5}, {102.0, 290.0, 1.25}}, 12.0),
      heard_track(302.0, {{6.0, 90.0, -4.0}, {102.0, 290.0, -4.25}}, -40.0)};
  std::vector<Seam> seams = seams_of(states, {false, true});
  ASSERT_EQ(seams.size(), 1U);
  ASSERT_EQ(seams[0].cause, SeamCause::mix);
  seams[0].place.mix_end_s = seams[0].place.mix_from_s = 96.0;
  seams[0].step_s = -0.25 + 40e-6;
  std::vector<Span> mix_spans = mix_spans_of(seams, kMixLength_s);
  for (const auto& members : members_of_recorders(states))
    cut_at_seams(seams, members, mix_spans, states);
  fit_recorders(1e-3, mix_spans, states);
  fit_recorders_and_mix(0.25e-3, kMixLength_s, seams, mix_spans, states);
  EXPECT_NEAR(seams[0].step_s, -0.25, 0.2e-6);
  EXPECT_NEAR(states[0].drift_ppm(), 12.0, 0.005);
  EXPECT_NEAR(states[1].drift_ppm(), -40.0, 0.005);
}

TEST(CutOf, IsEarlierInATrackThatHasLostSomethingAloneBefore) {
  std::vector<Seam> seams(2);
  seams[0].cause = SeamCause::track;
  seams[0].tracks = {1};
  seams[0].placed_by = 1;
  seams[0].step_s = 0.15;
  seams[0].place.track_end_s = seams[0].place.track_from_s = 70.0;
  seams[1].cause = SeamCause::recorder;
  seams[1].tracks = {0, 1};
  seams[1].step_s = 0.3;
  seams[1].place.track_end_s = seams[1].place.track_from_s = 200.0;
  EXPECT_DOUBLE_EQ(cut_of(seams, seams[0], 1, 1.0).end_s, 70.0);
  EXPECT_DOUBLE_EQ(cut_of(seams, seams[1], 0, 1.0).end_s, 200.0);
  EXPECT_DOUBLE_EQ(cut_of(seams, seams[1], 1, 1.0).end_s, 199.85);
  seams[1].placed_by = 1;
  EXPECT_DOUBLE_EQ(cut_of(seams, seams[1], 0, 1.0).end_s, 200.15);
  EXPECT_DOUBLE_EQ(cut_of(seams, seams[1], 1, 1.0).from_s, 200.0);
}

TEST(MixSpans, AreAMapWhereverTheMixSteps) {
  std::uint32_t state = 5;
  const auto number = [&] {
    state = state * 1664525U + 1013904223U;
    return static_cast<double>(state) / 4294967291.0;  // no binary fraction: sums round
  };
  for (int round = 0; round < 2000; ++round) {
    constexpr double kLength_s = 3600.0;
    std::vector<Seam> seams;
    double place_s = 0.0;
    while ((place_s += 10.0 + 1000.0 * number()) < kLength_s) {
      Seam& seam = seams.emplace_back();
      seam.cause = SeamCause::mix;
      seam.place.mix_end_s = place_s;
      seam.step_s = 20.0 * number() - 10.0;
    }
    const auto spans = mix_spans_of(seams, kLength_s);
    ASSERT_TRUE(TimeMap::make(spans)) << "round " << round;
    double on_line_s = 0.0;
    for (const Seam& seam : seams) on_line_s -= seam.step_s;
    if (spans.back().to_s == kLength_s) {
      EXPECT_NEAR(spans.back().line_to_s, kLength_s + on_line_s, 1e-6);
    }
  }
}

}  // namespace
}  // namespace kilter::sync
