#include "judgement.h"

#include <gtest/gtest.h>

#include "heard_track.h"
#include "recorders.h"

namespace kilter::sync {
namespace {

constexpr double kUncertainty_us = 20.0;

/// Tracks that agree on everything, to be spoilt by a test.
struct Told {
  MixInput mix{nullptr, kMixLength_s, false};
  std::vector<TrackInput> tracks;
  std::vector<TrackState> states;
  std::vector<Span> mix_spans{{0.0, kMixLength_s, 0.0, kMixLength_s, 0.0}};
  std::vector<Seam> seams;
  std::vector<Leak> leaks;

  explicit Told(std::vector<TrackState> heard) : states(std::move(heard)) {
    for (TrackState& state : states) {
      TrackInput& input = tracks.emplace_back();
      input.name = "track " + std::to_string(tracks.size());
      input.length_s = state.length_s;
      for (const Measured& m : state.measured) state.clear.push_back({m.track_s, m.mix_s});
      count_support(state);
    }
    find_recorders(states);
  }

  std::optional<Doubt> doubt(std::size_t track) const {
    return doubt_of({mix, tracks, states, mix_spans, seams, leaks}, track, kUncertainty_us);
  }
};

Told two_recorders() {
  return Told({heard_track(300.0, {{6.0, 290.0, 1.5}}, 20.0),
               heard_track(305.0, {{6.0, 290.0, -4.0}}, -30.0)});
}

TEST(Doubt, IsNoneWhereAllAgrees) {
  const Told told = two_recorders();
  EXPECT_FALSE(told.doubt(0));
  EXPECT_FALSE(told.doubt(1));
}

/// Heard in some windows on its line, and in one more that says otherwise.
TrackState heard_otherwise_once(double until_s) {
  TrackState state = heard_track(60.0, {{6.0, until_s, 1.5}}, 20.0);
  state.weights.assign(state.measured.size(), 1.0);
  state.measured.push_back(state.measured.back());
  state.measured.back().at_s += 6.0;
  state.weights.push_back(0.0);
  return state;
}

TEST(Doubt, IsOfFewWindowsOneOfWhichSaysOtherwise) {
  EXPECT_FALSE(Told({heard_track(60.0, {{6.0, 24.0, 1.5}}, 20.0)}).doubt(0));
  EXPECT_FALSE(Told({heard_otherwise_once(30.0)}).doubt(0)) << "five agree";
  EXPECT_TRUE(Told({heard_otherwise_once(24.0)}).doubt(0)) << "four agree";
}

TEST(Doubt, IsOfAClockThatStandsStillInAShortTalk) {
  Told told(
      {heard_track(300.0, {{6.0, 290.0, 1.5}}), heard_track(305.0, {{6.0, 290.0, -4.0}}, -30.0)});
  ASSERT_TRUE(told.doubt(0));
  EXPECT_GE(told.doubt(0)->off_s, 0.0075) << "half a splice";
  told.mix.length_s = 3600.0;
  EXPECT_FALSE(told.doubt(0)) << "by then a splice would show";
}

TEST(Doubt, IsOfASmallDriftThatIsSeenOverAFewSecondsOnly) {
  constexpr double kDrift_ppm = 2.0;
  const auto seen_until = [&](double to_s) {
    return Told({heard_track(300.0, {{6.0, to_s, 1.5}}, kDrift_ppm),
                 heard_track(305.0, {{6.0, 290.0, -4.0}}, -30.0)});
  };
  const auto doubt = seen_until(18.0).doubt(0);
  ASSERT_TRUE(doubt);
  EXPECT_NE(doubt->reason.find("stands still"), std::string::npos) << doubt->reason;
  EXPECT_FALSE(seen_until(120.0).doubt(0)) << "by then it is no window's own pull";
}

TEST(Doubt, IsNoneOfAClockThatStandsStillWithASiblingBesideIt) {
  const Told told(
      {heard_track(300.0, {{6.0, 290.0, 1.5}}), heard_track(300.0, {{6.0, 290.0, 1.5}})});
  ASSERT_EQ(told.states[0].recorder, told.states[1].recorder);
  EXPECT_FALSE(told.doubt(0));
}

TEST(Doubt, IsOfATrackLongerThanItsSiblingsThatSaysNothingTowardsItsEnd) {
  const auto silent = heard_track(300.053, {{6.0, 120.0, 1.5}}, 20.0);
  const auto whole = heard_track(300.0, {{10.0, 298.0, 1.5}}, 20.0);
  Told told({silent, whole});
  ASSERT_EQ(told.states[0].recorder, told.states[1].recorder);
  ASSERT_TRUE(told.doubt(0));
  EXPECT_NEAR(told.doubt(0)->off_s, 0.053, 1e-6);
  EXPECT_FALSE(told.doubt(1)) << "it is heard to its end";
  told.tracks[1].lossy = true;
  EXPECT_FALSE(told.doubt(0)) << "a codec may have padded it";

  EXPECT_FALSE(Told({heard_track(300.053, {{10.0, 298.0, 1.5}}, 20.0), whole}).doubt(0))
      << "heard to its end";
  EXPECT_FALSE(Told({silent, whole, heard_track(300.053, {{10.0, 298.0, 1.5}}, 20.0)}).doubt(0))
      << "another is as long";
}

TEST(Doubt, IsOfATrackThatLostOtherwiseThanItsLengthSays) {
  const auto whole = heard_track(300.0, {{6.0, 290.0, 1.5}}, 20.0);
  const auto lost = [&](double length_s, double step_s, SeamCause cause) {
    Told told(
        {heard_track(length_s, {{6.0, 120.0, 1.5}, {132.0, 290.0, 1.5 + step_s}}, 20.0), whole});
    Seam seam;
    seam.cause = cause;
    seam.tracks = {0};
    seam.step_s = step_s;
    seam.place.mix_end_s = 126.0;
    told.seams = {seam};
    EXPECT_EQ(told.states[0].recorder, told.states[1].recorder);
    return told;
  };
  constexpr double kLength_s = 298.0;
  const Told told = lost(kLength_s, 2.007, SeamCause::track);
  ASSERT_TRUE(told.doubt(0));
  EXPECT_NEAR(told.doubt(0)->off_s, 0.007, 0.1e-3);
  EXPECT_FALSE(told.doubt(1));
  EXPECT_FALSE(lost(kLength_s, 2.0001, SeamCause::track).doubt(0)) << "as its length says";
  EXPECT_FALSE(lost(300.0, 0.007, SeamCause::stream).doubt(0)) << "a stream shortens no file";
}

TEST(Doubt, IsOfATrackThatEndsWithTwoOthersButBeganAtAnotherTimeAndSaysNothingThere) {
  const auto whole = heard_track(300.0, {{6.0, 290.0, 1.5}}, 20.0);
  const auto padded = heard_track(300.132, {{60.0, 290.0, 1.368}}, 20.0);
  const Told told({whole, whole, padded});
  ASSERT_NE(told.states[2].recorder, told.states[0].recorder);
  ASSERT_TRUE(told.doubt(2));
  EXPECT_NEAR(told.doubt(2)->off_s, 0.132, 1e-6);
  EXPECT_FALSE(told.doubt(0)) << "two of three began together";
  EXPECT_FALSE(Told({whole, whole, heard_track(300.132, {{6.0, 290.0, 1.368}}, 20.0)}).doubt(2))
      << "heard from its beginning, it was started earlier";
  EXPECT_TRUE(Told({whole, whole, heard_track(299.9, {{60.0, 290.0, 1.368}}, 20.0)}).doubt(2))
      << "its end may have been cut";
  EXPECT_FALSE(Told({whole, heard_track(299.9, {{60.0, 290.0, 1.368}}, 20.0)}).doubt(1))
      << "nobody shares the other's clock";
  EXPECT_FALSE(Told({whole, whole, heard_track(302.0, {{60.0, 290.0, -1.0}}, 20.0)}).doubt(2))
      << "it was started much earlier";
  EXPECT_FALSE(Told({whole, whole, heard_track(300.132, {{60.0, 290.0, 1.368}}, 23.0)}).doubt(2))
      << "its clock is another";
}

TEST(Doubt, IsOfATrackAsLongAsAnotherThatHasASeam) {
  Told told({heard_track(300.0, {{6.0, 120.0, 1.5}, {132.0, 290.0, 2.3}}, 20.0),
             heard_track(300.0, {{6.0, 290.0, 1.9}}, 20.0)});
  ASSERT_NE(told.states[0].recorder, told.states[1].recorder);
  ASSERT_TRUE(told.doubt(1));
  EXPECT_NEAR(told.doubt(1)->off_s, 0.4, 0.01);
}

TEST(Doubt, IsOfTheWholeRecorderWherePartsOfOneTrackAreHeardElsewhere) {
  Told told({heard_track(300.0, {{6.0, 290.0, 1.5}}, 20.0),
             heard_track(300.0, {{6.0, 290.0, 1.5}}, 20.0)});
  EXPECT_FALSE(told.doubt(1));
  told.states[0].strays = {{20.0, 21.5, 21.474, 80.0, 0.9, false}};
  ASSERT_TRUE(told.doubt(1));
  EXPECT_NEAR(told.doubt(1)->off_s, 0.026, 1e-9);
}

TEST(Doubt, IsOfARecorderWhoseLineBeforeItsSeamAFewWordsAloneTell) {
  Told told({heard_track(300.0, {{6.0, 120.0, 1.5}, {132.0, 290.0, 1.9}}, 20.0),
             heard_track(300.0, {{6.0, 120.0, 1.5}, {132.0, 290.0, 1.9}}, 20.0)});
  Seam seam;
  seam.cause = SeamCause::recorder;
  seam.tracks = {0, 1};
  seam.recorder = told.states[0].recorder;
  seam.step_s = 0.4;
  seam.place.mix_end_s = 126.0;
  told.seams = {seam};
  EXPECT_FALSE(told.doubt(0));
  EXPECT_FALSE(told.doubt(1));
  for (TrackState& state : told.states)
    for (Measured& m : state.measured)
      if (m.at_s < 126.0) m.piece = kScoutLanes;
  ASSERT_TRUE(told.doubt(0));
  ASSERT_TRUE(told.doubt(1));
  EXPECT_EQ(told.doubt(0)->off_s, kNeighbour_s);
}

TEST(Doubt, IsOfATrackThatSharesItsVoicesWithOneThatFoundNoPlace) {
  Told told = two_recorders();
  told.states[1].placed = false;
  told.states[0].shares_with = 1;
  ASSERT_TRUE(told.doubt(0));
  EXPECT_NE(told.doubt(0)->reason.find("track 2"), std::string::npos);
}

TEST(Doubt, IsOfATrackAllOfWhichIsLouderInAnother) {
  Told told = two_recorders();
  told.states[0].louder_in = 1;
  ASSERT_TRUE(told.doubt(0));
  EXPECT_NE(told.doubt(0)->reason.find("track 2"), std::string::npos);
  EXPECT_FALSE(told.doubt(1));
}

TEST(Doubt, IsOfASeamWhosePlaceIsLooseAndOfOneThatMayBeTheMixs) {
  Told told = two_recorders();
  Seam seam;
  seam.cause = SeamCause::mix;
  seam.tracks = {0, 1};
  seam.step_s = -0.25;
  told.seams = {seam};
  EXPECT_FALSE(told.doubt(0));
  EXPECT_FALSE(doubt_of_mix(told.seams));
  told.seams[0].place.loose_s = 0.1;
  ASSERT_TRUE(told.doubt(0));
  EXPECT_NEAR(told.doubt(0)->off_s, 0.25, 1e-9);
  told.seams[0].place.loose_s = 0.0;
  told.seams[0].unsure = true;
  EXPECT_TRUE(told.doubt(0));
  EXPECT_TRUE(doubt_of_mix(told.seams)) << "a copy of the mix knows no more";
}

TEST(Doubt, IsNoneOfWindowsThatHearAKnownLeakOrANeighbourOfAWholeSibling) {
  Told told({heard_track(300.0, {{6.0, 290.0, 1.5}}, 20.0),
             heard_track(300.0, {{6.0, 290.0, 1.5}}, 20.0)});
  const auto hear_late = [&](double late_s) {
    for (std::size_t i = 0; i < told.states[0].clear.size(); i += 4)
      told.states[0].clear[i].mix_s -= late_s;
  };
  hear_late(0.006);
  EXPECT_FALSE(told.doubt(0));
  hear_late(0.294);
  EXPECT_TRUE(told.doubt(0));
  Leak leak;
  leak.holder = 0;
  leak.from = 1;
  leak.delay_s = 0.3;
  told.leaks = {leak};
  EXPECT_FALSE(told.doubt(0));
}

TEST(Doubt, IsNoneOfWindowsThatSetOneLeakOffAgainstAnother) {
  Told told({heard_track(300.0, {{6.0, 290.0, 1.5}}, 20.0),
             heard_track(305.0, {{6.0, 290.0, -4.0}}, -30.0),
             heard_track(310.0, {{6.0, 290.0, -8.0}}, 5.0)});
  const auto leak = [](std::size_t holder, double delay_s) {
    Leak told_leak;
    told_leak.holder = holder;
    told_leak.from = 2;
    told_leak.delay_s = delay_s;
    return told_leak;
  };
  for (std::size_t i = 0; i < told.states[0].clear.size(); i += 4)
    told.states[0].clear[i].mix_s += 0.040;
  EXPECT_TRUE(told.doubt(0));
  told.leaks = {leak(0, 0.180), leak(1, 0.250)};
  EXPECT_TRUE(told.doubt(0)) << "by another amount";
  told.leaks = {leak(0, 0.180), leak(1, 0.220)};
  EXPECT_FALSE(told.doubt(0));
  told.leaks[1].from = 0;
  EXPECT_TRUE(told.doubt(0)) << "of another voice";
}

}  // namespace
}  // namespace kilter::sync
