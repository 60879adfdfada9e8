#include "clip_places.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "run_kilter.h"
#include "small_show.h"

namespace kilter::commands {
namespace {

/// A session of ten minutes whose stems hold all of it.
class ClipPlacesOf : public testing::Test {
 protected:
  ClipPlacesOf() {
    lineup_.mix.emplace();
    stems_.rate_hz = 48000.0;
    stems_.frames = 600 * 48000;
    add("keeper", {{0.0, 600.0, 5.0, 605.0, 10.0}});
  }

  void add(const std::string& name, std::vector<Span> spans) {
    LineupTrack& track = lineup_.tracks.emplace_back();
    track.name = name;
    track.map = *TimeMap::make(std::move(spans));
    stems_.stems.push_back({name, name + ".wav", std::nullopt, 0, 0});
    heard_.tracks.emplace_back();
  }
  static Finding seam(const char* code, double line_s, double step_s) {
    Finding finding;
    finding.code = code;
    finding.line_s = line_s;
    finding.step_s = step_s;
    return finding;
  }
  /// A line each: track, reason, from, to, words.
  std::string listed(const report::Heard* heard) const {
    const char* const kReasons[] = {"seam", "residual", "evidence", "start", "end"};
    std::string text;
    for (const conform::ClipPlace& place : clip_places(lineup_, heard, stems_).places)
      text +=
          fmt::format("{} {} {:g} {:g} {}\n", place.track, kReasons[static_cast<int>(place.reason)],
                      place.at.line_from_s, place.at.line_to_s, place.words);
    return text;
  }

  Lineup lineup_;
  report::Heard heard_;
  conform::ConformReport stems_;
};

TEST_F(ClipPlacesOf, ATrackOfWhichNothingIsKnownAreItsStartAndItsEnd) {
  EXPECT_EQ(listed(nullptr), "0 start 5 5 \n0 end 600 600 \n");  // where the stems end
}

TEST_F(ClipPlacesOf, WindowsAreTheWorstThatCountsAndTheOneThatTellsLeast) {
  heard_.tracks[0].windows = {{50.0, 3.0, 4.0, 1.0},
                              {100.0, -9.0, 4.0, 0.9},
                              {150.0, 4000.0, 2.0, 0.0},  // not used, and sure of itself
                              {200.0, 5000.0, 30.0, 0.0},
                              {598.0, 70.0, 9.0, 1.0}};  // behind the stems
  EXPECT_EQ(listed(&heard_),
            "0 residual 105 105 measured 9 µs earlier than the stem has it\n"
            "0 evidence 155 155 measured 4 ms later than the stem has it, and not used\n"
            "0 start 5 5 \n0 end 600 600 \n");
  heard_.tracks[0].windows.resize(2);
  heard_.tracks[0].windows[0].sigma_us = 1500.0;
  EXPECT_EQ(listed(&heard_),
            "0 residual 105 105 measured 9 µs earlier than the stem has it\n"
            "0 evidence 55 55 the least sure window; placed to ±10 µs\n"
            "0 start 5 5 \n0 end 600 600 \n");
}

TEST_F(ClipPlacesOf, WindowsOfWeakEvidenceAreToldWithTheBoundOfTheLineupThere) {
  lineup_.tracks[0].map = *TimeMap::make({{0.0, 300.0, 5.0, 305.0, 12.0},  //
                                          {300.0, 600.0, 305.0, 605.0, 2500.0}});
  heard_.tracks[0].windows = {{50.0, 3.0, 0.2, 1.0}, {400.0, 3.0, 0.3, 1.0}};
  const std::string told = listed(&heard_);
  EXPECT_NE(told.find("evidence 405 405 the least sure window; placed to "
                      "±2.5 ms"),
            std::string::npos)
      << told;
}

TEST_F(ClipPlacesOf, WindowsInWhichNobodyIsHeardAreNone) {
  heard_.tracks[0].windows = {{50.0, 3.0, 4.0, 1.0}, {100.0, -9.0, 400.0, 0.9}};
  intake::Levels& levels = heard_.tracks[0].levels.emplace();
  levels.level_dbfs = -20.0;
  heard_.tracks[0].envelope = {1.0, std::vector<EnvelopeCell>(600, {0.1F, 0.01F})};
  for (std::size_t i = 90; i < 110; ++i) heard_.tracks[0].envelope.cells[i] = {1e-4F, 1e-8F};
  EXPECT_EQ(listed(&heard_),
            "0 residual 55 55 measured 3 µs later than the stem has it\n"
            "0 evidence 55 55 the least sure window; placed to ±10 µs\n"
            "0 start 5 5 \n0 end 600 600 \n");
}

TEST_F(ClipPlacesOf, AGivenLineupAreWhereItsBoundIsWidest) {
  add("mate", {{0.0, 100.0, 0.0, 100.0, 10.0}, {100.0, 200.0, 100.0, 200.0, 2500.0}});
  EXPECT_EQ(listed(nullptr),
            "0 start 5 5 \n0 end 600 600 \n"
            "1 evidence 150 150 a bound of 2.5 ms\n1 start 0 0 \n1 end 200 200 \n");
}

TEST_F(ClipPlacesOf, SeamsAreTheTracksAndTheMixes) {
  lineup_.tracks[0].findings = {seam("seam", 100.0, 1.7), seam("seam", 200.0, -0.04),
                                seam("excursion", 250.0, 0.02), seam("seam", 300.0, 60.0)};
  lineup_.mix->findings = {seam("mix-seam", 400.0, 3.0), seam("mix-seam", 2.0, 3.0)};
  EXPECT_EQ(listed(nullptr),
            "0 seam 300 300 a step of +00:01:00.000\n"
            "0 seam 397 400 a step of +3000 ms in the mix\n"
            "0 seam 98.3 100 a step of +1700 ms\n"
            "0 seam 200 200 a step of -40 ms\n"
            "0 start 5 5 \n0 end 600 600 \n");
}

TEST_F(ClipPlacesOf, ManySeamsAreThoseOfTheLargestStepsAndTheRestIsTold) {
  for (int i = 1; i <= 9; ++i)
    lineup_.tracks[0].findings.push_back(seam("seam", 50.0 * i, i % 2 == 0 ? 0.01 * i : -0.01 * i));
  const ClipPlaces found = clip_places(lineup_, nullptr, stems_);
  ASSERT_EQ(found.left_out.size(), 1U);
  EXPECT_EQ(found.left_out[0].track, 0U);
  EXPECT_EQ(found.left_out[0].count, 3);
  ASSERT_EQ(found.places.size(), 8U);
  for (std::size_t i = 0; i < 6; ++i)
    EXPECT_EQ(found.places[i].at.line_to_s, 50.0 * static_cast<double>(9 - i));
}

TEST_F(ClipPlacesOf, TracksWithoutAStemAreNone) {
  stems_.stems[0].file.clear();
  EXPECT_EQ(listed(nullptr), "");
  stems_.stems[0].file = "keeper.wav";
  lineup_.tracks[0].role = Role::mix;
  EXPECT_EQ(listed(nullptr), "");
  lineup_.tracks[0].role = Role::room;
  lineup_.tracks[0].map.reset();
  EXPECT_EQ(listed(nullptr), "");
}

TEST(ConformWithClips, ListsThemInTextInJsonAndOnThePage) {
  const test::SmallShow show;
  const test::Told text = test::run_kilter(show.conform_args({"--clips"}));
  ASSERT_EQ(text.exit, 0) << text.err;
  EXPECT_NE(text.out.find("Listen  " + (show.out() / "listen").string() + ": 2 clips"),
            std::string::npos)
      << text.out;
  const test::Told json = test::run_kilter(show.conform_args({"--clips", "--replace", "--json"}));
  ASSERT_EQ(json.exit, 0) << json.err;
  const auto clips = nlohmann::json::parse(json.out)["clips"];
  ASSERT_EQ(clips.size(), 2U);
  const std::string page = test::read_text(show.out() / "report.html");
  for (const auto& clip : clips) {
    const std::string file = clip["file"];
    EXPECT_TRUE(std::filesystem::exists(show.out() / file)) << file;
    EXPECT_NE(page.find("<audio controls preload=\"none\" src=\"" + file + '"'), std::string::npos);
  }
  const test::Told without = test::run_kilter(show.conform_args({"--replace", "--json"}));
  EXPECT_FALSE(nlohmann::json::parse(without.out).contains("clips"));
}

TEST(ConformWithClips, SaysThatThereAreNoneWithoutAMix) {
  const test::SmallShow show;
  const auto file = show.session().parent_path() / "hour.lineup.json";
  auto lineup = edits::read_lineup(file);
  ASSERT_TRUE(lineup);
  lineup->mix.reset();
  lineup->timeline_clock = "keeper";
  ASSERT_TRUE(edits::write_lineup(*lineup, file));
  const test::Told told = test::run_kilter(show.conform_args({"--clips"}));
  EXPECT_EQ(told.exit, 0) << told.err;
  EXPECT_NE(told.err.find("there are no listening clips"), std::string::npos) << told.err;
  EXPECT_FALSE(std::filesystem::exists(show.out() / "listen"));
}

}  // namespace
}  // namespace kilter::commands
