#include "heard.h"

#include <gtest/gtest.h>

namespace kilter::commands {
namespace {

Lineup lineup_at(double start_s, double length_s) {
  Lineup lineup;
  lineup.tracks.resize(1);
  lineup.tracks[0].name = "keeper";
  lineup.tracks[0].map = *TimeMap::line(start_s, 0.0, length_s, 1.0);
  return lineup;
}

report::Heard heard_at(const std::vector<double>& places_s) {
  report::Heard heard;
  heard.tracks.resize(1);
  for (const double at_s : places_s) heard.tracks[0].windows.push_back({at_s, 5.0, 2.0, 1.0});
  return heard;
}

TEST(Heard, TellsHowFarOffTheSameSoundIsOfAnotherMap) {
  auto heard = heard_at({10.0, 50.0, 90.0});
  // Placed 3 ms later than it was heard, and cut short.
  measure_from(lineup_at(20.003, 60.0), lineup_at(20.0, 100.0), heard);
  ASSERT_EQ(heard.tracks[0].windows.size(), 2U);
  for (const report::MeasuredWindow& window : heard.tracks[0].windows)
    EXPECT_NEAR(window.offset_us, 5.0 - 3000.0, 1e-3);
  EXPECT_TRUE(heard.moved_since);
}

TEST(Heard, TakesNoTrackForMovedThatATableRounded) {
  auto heard = heard_at({});
  measure_from(lineup_at(20.00001, 100.0), lineup_at(20.0, 100.0), heard);
  EXPECT_FALSE(heard.moved_since);
}

TEST(Heard, TellsWhatIsLeftOfTheMixInItsOwnTime) {
  // The mix lost three seconds at 2: what is behind lies that much later.
  sync::Alignment alignment;
  alignment.mix_spans = {{0.0, 2.0, 0.0, 2.0, 0.0}, {2.0, 4.0, 5.0, 7.0, 0.0}};
  alignment.unexplained.typical_depth_db = -21.0;
  for (int i = 0; i < 14; ++i)
    alignment.unexplained.halves.push_back(
        {i < 2 ? sync::HalfKind::uncovered : sync::HalfKind::explained, -30.0F,
         -static_cast<float>(i)});
  alignment.unexplained.halves[10].kind = sync::HalfKind::quiet;
  alignment.unexplained.halves[11].kind = sync::HalfKind::voice;
  const report::NullDepth null = null_depth(alignment);
  EXPECT_EQ(null.typical_db, -21.0);
  ASSERT_EQ(null.cells.size(), 8U);
  using Kind = report::NullCell::Kind;
  const Kind kinds[] = {Kind::uncovered, Kind::uncovered, Kind::told, Kind::told,
                        Kind::pause,     Kind::told,      Kind::told, Kind::told};
  const float rests[] = {0.0F, -1.0F, -2.0F, -3.0F, -10.0F, -11.0F, -12.0F, -13.0F};
  for (std::size_t i = 0; i < 8; ++i) {
    EXPECT_EQ(null.cells[i].kind, kinds[i]) << i;
    EXPECT_EQ(null.cells[i].rest_db, rests[i]) << i;
  }
}

TEST(Heard, TellsNothingOfAMixThatNoTrackExplains) { EXPECT_TRUE(null_depth({}).cells.empty()); }

TEST(Heard, ShowsNoWindowsOfATrackThatHasNoPlace) {
  auto heard = heard_at({10.0});
  Lineup lineup = lineup_at(0.0, 100.0);
  lineup.tracks[0].map.reset();
  measure_from(lineup, lineup_at(0.0, 100.0), heard);
  EXPECT_TRUE(heard.tracks[0].windows.empty());
}

TEST(Heard, OfASurveyHasLevelsOfAllAndWindowsOfWhatWasMeasured) {
  survey::Survey survey;
  survey.files.resize(1);
  survey.tracks.resize(3);
  const char* const names[] = {"keeper", "left-out", "mate"};
  for (std::size_t i = 0; i < 3; ++i) {
    survey.tracks[i].name = names[i];
    survey.tracks[i].levels.emplace().peak_dbfs = -static_cast<double>(i);
    survey.tracks[i].envelope = {0.05, {{0.5F, 0.1F}}};
  }
  survey.mix.emplace().levels.resize(2);
  survey.mix->levels[0].level_dbfs = -30.0;
  survey.mix->levels[1].level_dbfs = -20.0;
  AlignInput input;
  input.survey_tracks = {2};
  std::vector<sync::TrackPlacing> placings(1);
  placings[0].map = *TimeMap::line(7.0, 0.0, 100.0, 1.0);
  placings[0].windows = {{17.0, 4.0, 2.0, 0.9}, {300.0, 4.0, 2.0, 0.9}};
  Lineup lineup;  // what is left out has no row
  lineup.tracks.resize(2);
  lineup.tracks[0].name = "keeper";
  lineup.tracks[1].name = "mate";
  lineup.tracks[1].map = placings[0].map;

  const report::Heard heard = heard_of(survey, input, placings, lineup);
  EXPECT_EQ(heard.mix.levels->level_dbfs, -20.0);
  ASSERT_EQ(heard.tracks.size(), 2U);
  EXPECT_EQ(heard.tracks[1].levels->peak_dbfs, -2.0);
  EXPECT_EQ(heard.tracks[1].envelope.cells.size(), 1U);
  EXPECT_TRUE(heard.tracks[0].windows.empty());
  ASSERT_EQ(heard.tracks[1].windows.size(), 1U);
  EXPECT_NEAR(heard.tracks[1].windows[0].at_s, 10.0, 1e-9);
  EXPECT_EQ(heard.tracks[1].windows[0].offset_us, 4.0);
  EXPECT_FALSE(heard.moved_since);
  lineup.tracks[1].map = *TimeMap::line(9.0, 0.0, 100.0, 1.0);  // as a session.toml ordered
  EXPECT_TRUE(heard_of(survey, input, placings, lineup).moved_since);
}

}  // namespace
}  // namespace kilter::commands
