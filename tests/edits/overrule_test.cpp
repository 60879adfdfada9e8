// Reading cuts.tsv back, and what a person may change in it.
#include <gtest/gtest.h>

#include <cmath>

#include "kilter/edits/cuts.h"
#include "kilter/edits/lineup_file.h"
#include "random_lineup.h"
#include "sample_lineup.h"
#include "simulator/random.h"
#include "support/temporary_folder.h"

namespace kilter::edits {
namespace {

std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return at == std::string::npos ? text : text.replace(at, from.size(), to);
}

std::string all_replaced(std::string text, const std::string& from, const std::string& to) {
  for (std::size_t at = 0; (at = text.find(from, at)) != std::string::npos; at += to.size())
    text.replace(at, from.size(), to);
  return text;
}

std::string sample_text() { return cuts_text(sample_lineup(), {}); }

Result<Lineup> applied(const Lineup& lineup, const std::string& text) {
  const auto table = cuts_from_text(text, "edits/cuts.tsv");
  if (!table) return table.error();
  return overruled(lineup, *table);
}

Lineup applied_to_sample(const std::string& text) {
  const auto lineup = applied(sample_lineup(), text);
  EXPECT_TRUE(lineup) << lineup.error().what;
  return lineup ? *lineup : sample_lineup();
}

/// The finding that a changed track has, beside those it had.
std::string told(const Lineup& lineup, std::size_t track) {
  const auto& findings = lineup.tracks.at(track).findings;
  return findings.empty() || findings.back().code != "overruled" ? "" : findings.back().text;
}

TEST(Overruling, AnUnchangedTableChangesNothing) {
  EXPECT_EQ(to_text(applied_to_sample(sample_text())), to_text(sample_lineup()));
  for (std::uint64_t seed = 0; seed < 200; ++seed) {
    const Lineup lineup = random_lineup(seed);
    const auto back = applied(lineup, cuts_text(lineup, {}));
    ASSERT_TRUE(back) << seed << ": " << back.error().what;
    EXPECT_EQ(to_text(*back), to_text(lineup)) << seed;
  }
}

/// All that the rows tell, on a lineup that knows nothing of it.
TEST(Overruling, TheTableAlonePlacesEveryTrackToAThousandthOfAFrame) {
  for (std::uint64_t seed = 0; seed < 200; ++seed) {
    const Lineup lineup = random_lineup(seed);
    Lineup blank = lineup;
    for (LineupTrack& track : blank.tracks) {
      track.map.reset();
      track.standing = Standing::unplaced;
      track.inverted = false;
      track.recorder.clear();
    }
    const auto back = applied(blank, cuts_text(lineup, {}));
    ASSERT_TRUE(back) << seed << ": " << back.error().what;
    simulator::Random random{seed, 3};
    for (std::size_t i = 0; i < lineup.tracks.size(); ++i) {
      const LineupTrack& was = lineup.tracks[i];
      const LineupTrack& is = back->tracks[i];
      ASSERT_EQ(was.is_used(), is.is_used());
      if (!was.is_used()) continue;
      EXPECT_EQ(was.inverted, is.inverted);
      EXPECT_EQ(was.standing, is.standing);
      EXPECT_EQ(was.recorder, is.recorder);
      for (const Span& span : was.map->spans()) {
        const double from_s = std::ceil(span.from_s * was.rate_hz) / was.rate_hz;
        for (int k = 0; k < 10; ++k) {
          // A frame from the end: the last may reach beyond its span.
          const double track_s = random.between(from_s, span.to_s - 1.0 / was.rate_hz);
          const auto place = is.map->to_line(track_s);
          ASSERT_TRUE(place) << seed;
          EXPECT_NEAR(*place * lineup.timeline_rate_hz,
                      *was.map->to_line(track_s) * lineup.timeline_rate_hz, 1e-3)
              << seed;
        }
      }
    }
  }
}

TEST(Overruling, ACutIsMovedByItsFirstFrame) {
  const std::string text =
      replaced(sample_text(), "\t-156000.000000\t4644418.948223\t-00:00:03.250\t", "\t48000\t\t\t");
  const Lineup lineup = applied_to_sample(text);
  ASSERT_TRUE(lineup.tracks[1].map);
  EXPECT_NEAR(lineup.tracks[1].map->start_s(), 1.0, 1e-9);
  EXPECT_NEAR(lineup.tracks[1].map->drift_ppm(), -87.5, 1e-6);
  EXPECT_EQ(told(lineup, 1),
            "Placed by hand (\"cuts.tsv\", from line 46 on): the cut at 00:00:01.000000 lay at "
            "-00:00:03.250000. Listen to it against the mix.");
  EXPECT_EQ(told(lineup, 0), "");
}

TEST(Overruling, TwiceIsAsGoodAsOnce) {
  const std::string text =
      replaced(sample_text(), "\t-156000.000000\t4644418.948223\t-00:00:03.250\t", "\t48000\t\t\t");
  const Lineup once = applied_to_sample(text);
  const auto twice = applied(once, text);
  ASSERT_TRUE(twice) << twice.error().what;
  EXPECT_EQ(to_text(*twice), to_text(once));
  const auto of_its_own_table = applied(once, cuts_text(once, {}));
  ASSERT_TRUE(of_its_own_table) << of_its_own_table.error().what;
  EXPECT_EQ(to_text(*of_its_own_table), to_text(once));
}

struct ChangeCase {
  const char* name;
  const char* from;
  const char* to;
  std::size_t track;
  const char* told;
};

class Changes : public testing::TestWithParam<ChangeCase> {};

TEST_P(Changes, AreMadeAndTold) {
  const ChangeCase& row = GetParam();
  const Lineup lineup = applied_to_sample(all_replaced(sample_text(), row.from, row.to));
  EXPECT_NE(told(lineup, row.track).find(row.told), std::string::npos) << told(lineup, row.track);
  EXPECT_NE(to_text(lineup), to_text(sample_lineup()));
  for (std::size_t i = 0; i < lineup.tracks.size(); ++i)
    if (i != row.track) {
      EXPECT_EQ(told(lineup, i), "");
    }
}

INSTANTIATE_TEST_SUITE_P(
    All, Changes,
    testing::Values(ChangeCase{"Speed",
                               "4644418.948223\t-00:00:03.250\t00:59:56:19\t0.999912500000",
                               "\t\t\t1.000000000000", 1, "had the speed 0.999912500000"},
                    ChangeCase{"Polarity", "\tinverted\tshaky", "\tnormal\tshaky", 1,
                               "it was taken to be inverted"},
                    ChangeCase{"Standing", "\tshaky\t", "\tfirm\t", 1, "it was shaky"},
                    ChangeCase{"Bound", "\t1500.000\t", "\t10\t", 1, "was right to 1500.000 us"},
                    ChangeCase{"Recorder", "\tB\t", "\tA\t", 1, "its recorder was \"B\""},
                    ChangeCase{"Shorter", "\t0\t4409999\t-156000.000000\t4644418.948223\t",
                               "\t0\t2204999\t-156000.000000\t\t", 1, "it was cut otherwise, in 1"},
                    ChangeCase{"LeftOut", "guest from the far rock\tuploads", "# guest", 1,
                               "Left out by hand: \"cuts.tsv\" holds no cut of it"}),
    [](const auto& each) { return each.param.name; });

TEST(Overruling, AnUnplacedTrackCanBePlaced) {
  const std::string row =
      "\\x3Dthe \\x22new\\x22 mate\\x09\\x5C with\\x0Aa "
      "lamp\t\\x23lamp.wav\t1\t96000\t96000\t959999\t"
      "480000.5\t\t\t\t1\t\tnormal\tshaky\t1000\tC\t\n";
  const Lineup lineup = applied_to_sample(sample_text() + row);
  const LineupTrack& track = lineup.tracks[2];
  ASSERT_TRUE(track.is_used());
  EXPECT_EQ(track.standing, Standing::shaky);
  EXPECT_NEAR(*track.map->to_line(1.0), 480000.5 / 48000.0, 1e-9);
  EXPECT_EQ(track.map->spans().back().to_s, 10.0);
  EXPECT_NE(told(lineup, 2).find("it was not placed"), std::string::npos);
  EXPECT_EQ(to_text(*lineup_from_text(to_text(lineup), "")), to_text(lineup));
}

TEST(Overruling, ACutCanBeTakenInTwo) {
  const std::string row = "guest from the far rock\tuploads/guest.flac\t2\t44100\t";
  const std::string rest = "\t\t\t\t1\t\tinverted\tshaky\t1500\tB\t\n";
  std::string text = sample_text();
  text.erase(text.find(row));
  text += row + "2205000\t4409999\t4000000" + rest;  // in any order
  text += row + "0\t2204999\t0" + rest;
  const Lineup lineup = applied_to_sample(text);
  const auto spans = lineup.tracks[1].map->spans();
  ASSERT_EQ(spans.size(), 2U);
  EXPECT_EQ(spans[0].line_to_s, 50.0);
  EXPECT_EQ(spans[1].from_s, 50.0);
  EXPECT_NEAR(spans[1].line_from_s, 4000000.0 / 48000.0, 1e-9);
}

TEST(Overruling, ATrackThatWasLeftOutAsToldCanBeTakenIn) {
  Lineup lineup = sample_lineup();
  const std::string text = cuts_text(lineup, {});
  lineup.tracks[1].role = Role::ignore;
  const auto back = applied(lineup, text);
  ASSERT_TRUE(back) << back.error().what;
  EXPECT_TRUE(back->tracks[1].is_used());
  EXPECT_NE(told(*back, 1).find("it was left out"), std::string::npos);
}

std::string as_a_spreadsheet_saves_it(const std::string& text) {
  std::string saved = "\xEF\xBB\xBF";
  bool table = false;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    std::string line = text.substr(at, end - at);
    table = table || line.starts_with("track\t");
    if (table) {
      line = '"' + line.substr(0, line.find('\t')) + '"' + line.substr(line.find('\t'));
      line += "\tmine";  // a column more
    } else {
      line += "\t\t\t";
    }
    saved += line + "\r\n\t\t\t\r\n";
    at = end + 1;
  }
  return saved;
}

TEST(Overruling, ASpreadsheetsHabitsDoNoHarm) {
  EXPECT_EQ(to_text(applied_to_sample(as_a_spreadsheet_saves_it(sample_text()))),
            to_text(sample_lineup()));
}

TEST(Overruling, ColumnsMayStandInAnyOrderAndThoseForPeopleMayBeMissing) {
  const std::string text =
      "standing\tpolarity\ttrack\tfile\tchannel\tsource_rate\tsource_first\tsource_last\tspeed\t"
      "timeline_first\tuncertainty_us\trecorder\n"
      "firm\tnormal\tguest from the far "
      "rock\tuploads/guest.flac\t2\t44100\t0\t4409999\t1\t0\t5\tB\n";
  const Lineup lineup = applied_to_sample(text);
  EXPECT_EQ(lineup.tracks[1].map->start_s(), 0.0);
  EXPECT_EQ(lineup.tracks[0].role, Role::ignore);
}

struct BrokenCase {
  const char* name;
  const char* from;
  const char* to;
  const char* what;  // the whole sentence
};

class BrokenCuts : public testing::TestWithParam<BrokenCase> {};

TEST_P(BrokenCuts, AreAnErrorThatNamesLineAndColumn) {
  const BrokenCase& row = GetParam();
  const auto lineup = applied(sample_lineup(), replaced(sample_text(), row.from, row.to));
  ASSERT_FALSE(lineup);
  EXPECT_EQ(lineup.error().kind, ErrorKind::unreadable);
  EXPECT_EQ(lineup.error().file, "edits/cuts.tsv");
  EXPECT_EQ(lineup.error().what, row.what);
  EXPECT_FALSE(lineup.error().next_step.empty());
}

INSTANTIATE_TEST_SUITE_P(
    All, BrokenCuts,
    testing::Values(
        BrokenCase{"NoColumns", "track\tfile\tchannel", "# track\tfile\tchannel",
                   "line 43: the column track is missing"},
        BrokenCase{"AMissingColumn", "\tspeed\t", "\tspeeed\t",
                   "line 42: the column speed is missing"},
        BrokenCase{"NoNumber", "\t592592.587248\t", "\tabout here\t",
                   "line 43, column 7 (timeline_first): \"about here\" is not a number of frames "
                   "with a point, for example 5392479.221902"},
        BrokenCase{"ACommaForThePoint", "\t592592.587248\t", "\t592592,587248\t",
                   "line 43, column 7 (timeline_first): \"592592,587248\" is not a number of "
                   "frames with a point, for example 5392479.221902"},
        BrokenCase{"ADateForANumber", "\t4799999\t", "\t2024-11-03\t",
                   "line 43, column 6 (source_last): \"2024-11-03\" is not a frame at or after "
                   "source_first, a whole number"},
        BrokenCase{"Backwards", "\t972000\t2399999\t", "\t972000\t971999\t",
                   "line 45, column 6 (source_last): \"971999\" is not a frame at or after "
                   "source_first, a whole number"},
        BrokenCase{"SpeedInPercent", "\t1.000023410000\t", "\t100.002341\t",
                   "line 43, column 11 (speed): \"100.002341\" is not a speed from 0.05 to 20 with "
                   "a point, for example 1.000023"},
        BrokenCase{"AnotherPolarity", "\tinverted\tshaky", "\treversed\tshaky",
                   "line 46, column 13 (polarity): \"reversed\" is not normal or inverted"},
        BrokenCase{"Unplaced", "\tshaky\t", "\tunplaced\t",
                   "line 46, column 14 (standing): \"unplaced\" is not firm or shaky"},
        BrokenCase{"ARowThatEnds", "\tA\tseam\n", "\n",
                   "line 44, column recorder: line 43 says otherwise of this track"},
        BrokenCase{"AShortRow", "rec_0001.wav\t1\t48000", "rec_0001.wav\n",
                   "line 43, column 3 (channel): \"\" is not a channel, a whole number from 1"},
        BrokenCase{"AStrayBackslash", "uploads/guest", "uploads\\guest",
                   "line 46, column 2 (file): \"uploads\\guest.flac\" is not a text in which every "
                   "backslash begins \\xNN"},
        BrokenCase{"AnotherTrack", "guest from the far rock\tu", "guest from the rock\tu",
                   "line 46, column track: the lineup has no track \"guest from the rock\""},
        BrokenCase{"AnotherChannel", "guest.flac\t2\t", "guest.flac\t1\t",
                   "line 46, column file: the track has no channel 1 of \"uploads/guest.flac\""},
        BrokenCase{"AnotherRate", "\t44100\t", "\t48000\t",
                   "line 46, column source_rate: the file has 44100"},
        BrokenCase{"BeyondTheFile", "\t4409999\t", "\t4410000\t",
                   "line 46, column source_last: the file's last frame is 4409999"},
        BrokenCase{"LastContradicts", "\t4644418.948223\t", "\t4644500\t",
                   "line 46, column timeline_last: from timeline_first and speed follows "
                   "4644418.948223: write that, or empty the cell"},
        BrokenCase{"StartContradicts", "\t-00:00:03.250\t", "\t00:00:03.250\t",
                   "line 46, column start: from timeline_first follows -00:00:03.250: write that, "
                   "or empty the cell"},
        BrokenCase{"InsideAnother", "\t972000\t2399999\t6456000.000000\t7883965.571326\t",
                   "\t971999\t2399999\t6456000.000000\t\t",
                   "line 45, column source_first: lies inside the cut of line 44"},
        BrokenCase{"NotOverYet", "\t6456000.000000\t7883965.571326\t00:02:14.500\t",
                   "\t6364000.000000\t\t\t",
                   "line 45, column timeline_first: the cut of line 44, which comes before it in "
                   "the file, is not over yet"},
        BrokenCase{"AnotherTimeline", "48000 frames a second", "44100 frames a second",
                   "counts 44100 frames a second on the timeline, the lineup 48000"}),
    [](const auto& each) { return each.param.name; });

TEST(CutTables, WithoutATableAreAnError) {
  for (const char* text : {"", "# kilter cuts, version 1\n"}) {
    const auto table = cuts_from_text(text, "cuts.tsv");
    ASSERT_FALSE(table);
    EXPECT_NE(table.error().what.find("there is no line that names the columns"),
              std::string::npos);
  }
}

TEST(CutTables, AMissingFileIsUnreadable) {
  const test::TemporaryFolder folder;
  const auto table = read_cuts(folder / "missing.tsv");
  ASSERT_FALSE(table);
  EXPECT_EQ(table.error().kind, ErrorKind::unreadable);
  EXPECT_EQ(table.error().file, folder / "missing.tsv");
}

// Whatever is in the file, the answer is a table or an error.
TEST(CutTables, TornAndSpoiltTextsDoNoHarm) {
  const std::string text = sample_text();
  std::size_t errors = 0;
  for (std::uint64_t seed = 0; seed < 3000; ++seed) {
    simulator::Random random{seed, 5};
    std::string spoilt = text.substr(text.find("\ntrack\t") + 1);
    for (int i = random.index(4); i >= 0; --i) {
      const auto at = static_cast<std::size_t>(random.index(static_cast<int>(spoilt.size())));
      const auto byte = static_cast<char>(random.index(256));
      if (random.chance(0.3))
        spoilt.erase(at, 1 + static_cast<std::size_t>(random.index(40)));
      else if (random.chance(0.5))
        spoilt.insert(at, 1, byte);
      else
        spoilt[at] = byte;
      if (spoilt.empty()) break;
    }
    const auto lineup = applied(sample_lineup(), spoilt);
    if (!lineup) ++errors;
    if (lineup) {
      EXPECT_EQ(lineup->tracks.size(), 3U);
    }
  }
  EXPECT_GT(errors, 100U);
}

TEST(CutTable, OfAnotherSeparatorSaysWhichIsWanted) {
  std::string text = cuts_text(sample_lineup(), {});
  std::replace(text.begin(), text.end(), '\t', ';');
  const auto table = cuts_from_text(text, "cuts.tsv");
  ASSERT_FALSE(table);
  EXPECT_NE(table.error().what.find("tab-separated text in UTF-8"), std::string::npos)
      << table.error().what;
}

}  // namespace
}  // namespace kilter::edits
