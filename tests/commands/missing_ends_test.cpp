#include "missing_ends.h"

#include <gtest/gtest.h>

#include "kilter/survey/survey.h"

namespace kilter::commands {
namespace {

/// Tracks on the mix's time.
class MissingEnds : public testing::Test {
 protected:
  LineupTrack& add(const std::string& name, const std::string& recorder, double from_s,
                   double to_s) {
    LineupTrack& track = lineup_.tracks.emplace_back();
    track.name = name;
    track.recorder = recorder;
    track.standing = Standing::firm;
    track.map = *TimeMap::line(from_s, 0.0, to_s - from_s, 2.0);
    return track;
  }
  /// Codes of the track of that name.
  std::vector<std::string> told(const std::string& name) {
    tell_missing_ends(lineup_);
    std::vector<std::string> codes;
    for (const LineupTrack& track : lineup_.tracks)
      if (track.name == name)
        for (const Finding& finding : track.findings) codes.push_back(finding.code);
    return codes;
  }
  using Codes = std::vector<std::string>;

  Lineup lineup_;
};

TEST_F(MissingEnds, OfARecordersFileThatEndsEarlyAreTold) {
  add("keeper", "A", -13.0, 47.0);
  add("cook", "A", -13.0, 180.0);
  add("mate", "A", -13.0, 180.0);
  add("harbour", "B", -10.0, 180.0);
  EXPECT_EQ(told("keeper"), Codes{"ends-early"});
  const Finding& finding = lineup_.tracks[0].findings[0];
  EXPECT_EQ(
      finding.text.find("Ends at 00:00:47.000 of the timeline, where \"cook\" and \"mate\" of "
                        "its recorder, which began with it, go on to 00:03:00.000"),
      0U)
      << finding.text;
  EXPECT_TRUE(survey::track_needs_person({finding}));
  for (std::size_t i = 1; i < 4; ++i) EXPECT_TRUE(lineup_.tracks[i].findings.empty());
}

TEST_F(MissingEnds, OfAFileThatStartsLateOnItsSiblingsClockAreTold) {
  add("keeper", "C", 87.0, 180.0);
  add("cook", "A", -13.0, 180.0);
  add("mate", "A", -13.0, 180.0);
  EXPECT_EQ(told("keeper"), Codes{"starts-late"});
  EXPECT_EQ(lineup_.tracks[0].findings[0].text.find("Starts at 00:01:27.000 of the timeline"), 0U);
  EXPECT_TRUE(survey::track_needs_person(lineup_.tracks[0].findings));
}

TEST_F(MissingEnds, AreNoneWhereAFileIsAFewSecondsShort) {
  add("keeper", "A", -13.0, 171.0);
  add("cook", "A", -13.0, 180.0);
  EXPECT_EQ(told("keeper"), Codes{});
}

TEST_F(MissingEnds, AreNoneOfACopyThatBrokeOffNorHidesItThoseOfItsOriginal) {
  add("keeper", "A", -13.0, 47.0);
  add("keeper again", "A", -13.0, 47.0).findings.emplace_back().code = "duplicate";
  add("cook", "A", -13.0, 180.0);
  add("mate", "A", -13.0, 180.0);
  EXPECT_EQ(told("keeper"), Codes{"ends-early"});
  EXPECT_EQ(lineup_.tracks[1].findings.size(), 1U);
}

TEST_F(MissingEnds, AreNoneOfRecordersThatOneSwitchedOffAlone) {
  add("pilot", "C", 0.0, 47.0);
  add("cook", "A", -13.0, 180.0);
  add("mate", "A", -13.0, 180.0);
  add("harbour", "B", 60.0, 180.4);
  EXPECT_EQ(told("pilot"), Codes{});
  EXPECT_TRUE(lineup_.tracks[3].findings.empty());
}

TEST_F(MissingEnds, AreNoneWhereTwoOfTheRecordersFilesEndEarly) {
  add("keeper", "A", -13.0, 47.0);
  add("cook", "A", -13.0, 47.0);
  add("mate", "A", -13.0, 180.0);
  EXPECT_EQ(told("keeper"), Codes{});
}

TEST_F(MissingEnds, AreNoneWhereAnotherFileGoesOn) {
  add("keeper", "A", -13.0, 47.0);
  add("cook", "A", -13.0, 180.0);
  add("keeper-2", "B", 49.0, 180.0);
  EXPECT_EQ(told("keeper"), Codes{});
}

TEST_F(MissingEnds, AreNoneOfWhatIsNotFirmOrWasToldToBreakOff) {
  LineupTrack& keeper = add("keeper", "A", -13.0, 47.0);
  keeper.standing = Standing::shaky;
  add("cook", "A", -13.0, 180.0);
  EXPECT_EQ(told("keeper"), Codes{});
  lineup_.tracks[0].standing = Standing::firm;
  lineup_.tracks[0].findings.emplace_back().code = "truncated";
  EXPECT_EQ(told("keeper"), Codes{"truncated"});
}

}  // namespace
}  // namespace kilter::commands
