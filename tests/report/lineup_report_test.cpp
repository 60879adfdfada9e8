#include "kilter/report/lineup_report.h"

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

namespace kilter::report {
namespace {

LineupTrack track(const std::string& name, double start_s, double drift_ppm, double bound_us) {
  LineupTrack result;
  result.name = name;
  result.parts = {{name + ".wav", 1, 48000 * 300}};
  result.rate_hz = 48000.0;
  result.recorder = "A";
  result.standing = Standing::firm;
  result.map = *TimeMap::line(start_s, drift_ppm, 300.0, bound_us);
  result.uncertainty_us = bound_us;
  result.windows_measured = 118;
  result.windows_used = 101;
  return result;
}

Lineup example() {
  Lineup lineup;
  lineup.session = "lighthouse-hour-12";
  lineup.timeline_rate_hz = 48000.0;
  lineup.to_s = 360.0;
  lineup.mix.emplace();
  lineup.mix->file = "mixdown.flac";
  lineup.mix->rate_hz = 48000.0;
  lineup.mix->frames = 48000 * 360;
  lineup.mix->spans = {{0.0, 360.0, 0.0, 360.0, 0.0}};
  lineup.tracks = {track("keeper", 12.345678901, 23.41, 3.1), track("mate", -62.5, -0.02, 8.06)};
  return lineup;
}

LineupTrack stranger() {
  LineupTrack result;
  result.name = "stranger";
  result.parts = {{"stranger.wav", 1, 48000}};
  result.rate_hz = 48000.0;
  Finding finding;
  finding.code = "unmatched";
  finding.text = "No place in the mix fits. Check that it belongs to this session.";
  result.findings = {finding};
  return result;
}

TEST(LineupReport, ReadsAsExpectedWhenAllIsFirm) {
  EXPECT_EQ(lineup_text(example()),
            R"(lighthouse-hour-12: 2 tracks in "mixdown.flac" (00:06:00.000, 48000 Hz)

track   standing             start   drift   +-  windows  clock  note
                          hh:mm:ss     ppm   us  used/of
keeper  firm       00:00:12.345679  +23.41  3.1  101/118  A
mate    firm      -00:01:02.500000   -0.02  8.1  101/118  A

All 2 tracks are firm, placed to 8.1 us or better.
)");
}

/// The table's rows: what lies between the heading and the sentence below.
std::string table_of(const std::string& text) {
  const auto start = text.find("\n\n") + 2;
  return text.substr(start, text.find("\n\n", start) + 1 - start);
}

TEST(LineupReport, CutsNamesInTheMiddleOnlyWhereTheTerminalIsTooNarrow) {
  Lineup lineup = example();
  lineup.tracks[0].name = "2026-11-26 keeper by the lamp, microphone 3 of the desk, take 2";
  lineup.tracks[1].name = "Zoë";
  EXPECT_EQ(table_of(lineup_text(lineup, 80)),
            R"(track              standing             start   drift   +-  windows  clock  note
                                     hh:mm:ss     ppm   us  used/of
2026-11... take 2  firm       00:00:12.345679  +23.41  3.1  101/118  A
Zoë                firm      -00:01:02.500000   -0.02  8.1  101/118  A
)");
  EXPECT_EQ(
      table_of(lineup_text(lineup, 100)),
      R"(track                                  standing             start   drift   +-  windows  clock  note
                                                         hh:mm:ss     ppm   us  used/of
2026-11-26 keeper... the desk, take 2  firm       00:00:12.345679  +23.41  3.1  101/118  A
Zoë                                    firm      -00:01:02.500000   -0.02  8.1  101/118  A
)");
  EXPECT_EQ(
      table_of(lineup_text(lineup, 160)),
      R"(track                                                            standing             start   drift   +-  windows  clock  note
                                                                                   hh:mm:ss     ppm   us  used/of
2026-11-26 keeper by the lamp, microphone 3 of the desk, take 2  firm       00:00:12.345679  +23.41  3.1  101/118  A
Zoë                                                              firm      -00:01:02.500000   -0.02  8.1  101/118  A
)");
  // Sentences are read best as they are.
  Finding seen;
  seen.text = std::string(200, 'o');
  for (std::size_t i = 9; i < seen.text.size(); i += 10) seen.text[i] = ' ';
  lineup.findings = {seen};
  const std::string wide = lineup_text(lineup, 160);
  EXPECT_EQ(wide.substr(wide.find("All 2 tracks")),
            lineup_text(lineup).substr(lineup_text(lineup).find("All 2 tracks")));
}

TEST(LineupReport, NamesWhatAPersonMustLookAt) {
  Lineup lineup = example();
  lineup.tracks[1].standing = Standing::shaky;
  lineup.tracks.push_back(stranger());
  Finding seen;
  seen.code = "several-mixes";
  seen.text = "There is a second mix.";
  Finding music;
  music.code = "mix-music";
  music.text = "Music plays.";
  lineup.findings = {music, seen};
  EXPECT_EQ(lineup_text(lineup),
            R"(lighthouse-hour-12: 3 tracks in "mixdown.flac" (00:06:00.000, 48000 Hz)

track     standing             start   drift   +-  windows  clock  note
                            hh:mm:ss     ppm   us  used/of
keeper    firm       00:00:12.345679  +23.41  3.1  101/118  A
mate      shaky     -00:01:02.500000   -0.02  8.1  101/118  A
stranger  unplaced                 -       -    -        -  -      2

1 of 3 tracks firm, placed to 3.1 us or better; 1 shaky (mate); 1 unplaced
(stranger).

 1. There is a second mix.
 2. stranger: No place in the mix fits. Check that it belongs to this session.
 3. Music plays.
)");
}

TEST(LineupReport, DoesNotVouchForWhatAPersonPut) {
  Lineup lineup = example();
  Finding told;
  told.code = "overruled";
  told.text = "It lies where your cuts put it.";
  lineup.tracks[1].findings = {told};
  EXPECT_NE(lineup_text(lineup).find("1 of 2 tracks firm, placed to 3.1 us or better; 1 where you "
                                     "put it (mate)."),
            std::string::npos)
      << lineup_text(lineup);
  lineup.tracks[1].findings[0].code = "told-start";
  EXPECT_NE(lineup_text(lineup).find("All 2 tracks are firm"), std::string::npos);
  lineup.tracks[1].findings[0].line_s = 2.0;
  EXPECT_NE(lineup_text(lineup).find("1 where you put it (mate)."), std::string::npos);
}

Finding finding(const char* code, const char* text) {
  Finding result;
  result.code = code;
  result.text = text;
  return result;
}

TEST(LineupReport, TellsInvertedAndShakyTracksCopiesAndIgnoredOnesApart) {
  Lineup lineup = example();
  lineup.tracks[0].inverted = true;
  lineup.tracks[0].findings = {finding("inverted", "Its polarity is opposite.")};
  lineup.tracks[1].standing = Standing::shaky;
  lineup.tracks[1].findings = {finding("thin-evidence", "Only 2 windows. Listen to it.")};
  LineupTrack copy = stranger();
  copy.name = "mixdown";
  copy.role = Role::mix;
  copy.findings = {finding("mix-copy", "Another copy of the mix.")};
  LineupTrack spare = track("spare", 0.0, 0.0, 4.0);
  spare.role = Role::ignore;
  lineup.tracks.push_back(copy);
  lineup.tracks.push_back(spare);
  EXPECT_EQ(lineup_text(lineup),
            R"(lighthouse-hour-12: 4 tracks in "mixdown.flac" (00:06:00.000, 48000 Hz)

track    standing             start   drift   +-  windows  clock  note
                           hh:mm:ss     ppm   us  used/of
keeper   firm       00:00:12.345679  +23.41  3.1  101/118  A      inverted; 1
mate     shaky     -00:01:02.500000   -0.02  8.1  101/118  A      2
mixdown  left out                 -       -    -        -  -      mix copy; 3
spare    firm       00:00:00.000000   +0.00  4.0  101/118  A      ignored

1 of 2 tracks firm, placed to 3.1 us or better; 1 shaky (mate); a copy of the
mix (mixdown); left out as told: spare.

 1. keeper: Its polarity is opposite.
 2. mate: Only 2 windows. Listen to it.
 3. mixdown: Another copy of the mix.
)");
}

TEST(LineupReport, CountsSeamsAndTakesAWrongRateOutOfTheDrift) {
  Lineup lineup = example();
  for (const char* at : {"00:01:00.000", "00:02:00.000", "00:03:00.000"})
    lineup.tracks[0].findings.push_back(
        finding("seam", ("This file lost 250.0 ms of sound at " + std::string(at) + '.').c_str()));
  LineupTrack& mate = lineup.tracks[1];
  mate.rate_hz = 44100.0;
  mate.map = *TimeMap::make({{0.0, 480.0, 1.0, 1.0 + 480.0 * 0.91875 / (1.0 + 20e-6), 8.0}});
  mate.findings = {finding("wrong-rate", "Its file states 44100 Hz.")};
  mate.findings[0].rate_hz = 48000.0;
  EXPECT_EQ(lineup_text(lineup),
            R"(lighthouse-hour-12: 2 tracks in "mixdown.flac" (00:06:00.000, 48000 Hz)

track   standing            start   drift   +-  windows  clock  note
                         hh:mm:ss     ppm   us  used/of
keeper  firm      00:00:12.345679  +23.41  3.1  101/118  A      3 seams; 1-3
mate    firm      00:00:01.000000  +20.00  8.1  101/118  A      48000 Hz; 4

All 2 tracks are firm, placed to 8.1 us or better.

 1. keeper: This file lost 250.0 ms of sound at 00:01:00.000.
 2. keeper: This file lost 250.0 ms of sound at 00:02:00.000.
 3. keeper: This file lost 250.0 ms of sound at 00:03:00.000.
 4. mate: Its file states 44100 Hz.
)");
}

TEST(LineupReport, SaysNoMoreOfABoundBeyondASecondThanThatItIs) {
  Lineup lineup = example();
  lineup.tracks[1].uncertainty_us = 4.7e9;
  EXPECT_NE(lineup_text(lineup).find("-0.02  > 1 s  101/118"), std::string::npos)
      << lineup_text(lineup);
}

TEST(LineupReport, GivesABoundFromAMillisecondOnItsUnit) {
  Lineup lineup = example();
  lineup.tracks[1].standing = Standing::shaky;
  for (const auto& [bound_us, text] :
       {std::pair{999.4, "999.4"}, std::pair{999.96, "1 ms"}, std::pair{12013.3, "12 ms"},
        std::pair{400041.5, "400 ms"}, std::pair{999700.0, "1000 ms"}}) {
    lineup.tracks[1].uncertainty_us = bound_us;
    EXPECT_NE(lineup_text(lineup).find("-0.02  " + std::string(text) + "  101/118"),
              std::string::npos)
        << lineup_text(lineup);
  }
}

Finding lost(double track_s) {
  Finding loss = finding("seam",
                         "The recorder lost 250.0 ms of sound at 00:01:00.000 of the "
                         "timeline. The stem has silence there.");
  loss.at_s = track_s;
  loss.line_s = 60.0;
  return loss;
}

/// What stands below the table's sentence.
std::string findings_of(const Lineup& lineup) {
  const std::string text = lineup_text(lineup);
  return text.substr(text.find("\n 1. ") + 1);
}

TEST(LineupReport, SaysOnceWhatHoldsOfAllTracksOfARecorder) {
  Lineup lineup = example();
  lineup.tracks.push_back(track("cook", 12.345678901, 23.41, 3.1));
  lineup.tracks[0].findings = {lost(47.654), finding("dc", "A constant offset.")};
  lineup.tracks[1].findings = {finding("dc", "Another offset.")};
  lineup.tracks[2].findings = {lost(47.654), finding("dc", "A constant offset."),
                               finding("over", "Peaks are too high.")};
  EXPECT_EQ(table_of(lineup_text(lineup)),
            R"(track   standing             start   drift   +-  windows  clock  note
                          hh:mm:ss     ppm   us  used/of
keeper  firm       00:00:12.345679  +23.41  3.1  101/118  A      1 seam; 1, 2
mate    firm      -00:01:02.500000   -0.02  8.1  101/118  A      3
cook    firm       00:00:12.345679  +23.41  3.1  101/118  A      1 seam; 1, 2, 4
)");
  EXPECT_EQ(findings_of(lineup),
            R"( 1. keeper, cook: The recorder lost 250.0 ms of sound at 00:00:47.654 of the
    recording, 00:01:00.000 of the timeline. The stem has silence there.
 2. keeper, cook: A constant offset.
 3. mate: Another offset.
 4. cook: Peaks are too high.
)");
  // One of them lost something before, so that its own clock has the place elsewhere.
  lineup.tracks[2].findings = {lost(47.5)};
  EXPECT_EQ(findings_of(lineup).find(
                " 1. keeper, cook: The recorder lost 250.0 ms of sound at 00:01:00.000 of the\n"
                "    timeline. The stem has silence there.\n"),
            0U)
      << findings_of(lineup);
}

TEST(LineupReport, TellsAPlaceInAFileOnTheTimelineToo) {
  Lineup lineup = example();
  Finding dropout =
      finding("dropout", "Digital silence in 1 place, at 00:00:10.000, 200 ms in all.");
  dropout.at_s = 10.0;
  lineup.tracks[0].findings = {dropout};
  lineup.mix->findings = {dropout};
  EXPECT_EQ(findings_of(lineup),
            R"( 1. keeper: Digital silence in 1 place, at 00:00:10.000 of the recording,
    00:00:22.345 of the timeline, 200 ms in all.
 2. mixdown.flac: Digital silence in 1 place, at 00:00:10.000 of the mix, 200 ms
    in all.
)");
  // Where the recordings have it, not where the sentence's other clock would.
  lineup.timeline_clock = "mate";
  EXPECT_NE(findings_of(lineup).find("at 00:00:10.000 of the recording, 200 ms\n"),
            std::string::npos)
      << findings_of(lineup);
}

TEST(LineupReport, NamesTheClockWhereThereIsNoMix) {
  Lineup lineup = example();
  lineup.mix.reset();
  lineup.timeline_clock = "keeper";
  lineup.tracks[0].map = *TimeMap::line(0.0, 0.0, 300.0, 0.0);
  lineup.tracks[0].uncertainty_us = 0.0;
  lineup.tracks[1].standing = Standing::shaky;
  const std::string text = lineup_text(lineup);
  EXPECT_EQ(text.find("lighthouse-hour-12: 2 tracks on the clock of \"keeper\" (00:06:00.000, "
                      "48000 Hz)\n"),
            0U)
      << text;
  EXPECT_NE(text.find("\n1 of 2 tracks firm; 1 shaky (mate).\n"), std::string::npos) << text;
}

/// The lineup that stems() were made of.
Lineup stems_lineup() {
  Lineup lineup = example();
  lineup.tracks.push_back(stranger());
  lineup.tracks.push_back(track("mixdown", 0.0, 0.0, 0.0));
  lineup.tracks.back().role = Role::mix;
  lineup.tracks.push_back(track("spare", 0.0, 0.0, 4.0));
  lineup.tracks.back().role = Role::ignore;
  return lineup;
}

conform::ConformReport stems() {
  conform::ConformReport report;
  report.rate_hz = 48000.0;
  report.frames = 48000 * 360;
  report.stems = {{"keeper", "keeper.wav", {}, 0},
                  {"mate", "", Error{ErrorKind::unreadable, "mate.wav", "it vanished", ""}, 0},
                  {"stranger", "", {}, 0},
                  {"mixdown", "", {}, 0},
                  {"spare", "", {}, 0}};
  return report;
}

WrittenLists lists() {
  return {{"cuts.tsv", "hour.edl", "by-track/keeper.edl"},
          {*edits::frame_rate_from_text("29.97df"), 1078920, 0.0}};
}

TEST(ConformReport, SaysWhereThingsAreAndWhatIsMissing) {
  EXPECT_EQ(conform_text(stems(), stems_lineup(), lists(), "out", "24-bit"),
            "Stems   out/stems: 1 file, each 00:06:00.000 (17280000 frames at 48000 Hz, 24-bit)\n"
            "Cuts    out/edits/cuts.tsv\n"
            "Lists   out/edits: 2 more files (SMPTE 258M, AES31-3), 10:00:00;00 at 29.97df fps\n"
            "Lineup  out/lineup.json\n"
            "Report  out/report.html\n"
            "No stem of mate: it vanished.\n"
            "No stem of stranger: it is not placed.\n"
            "No stem of mixdown: it holds the mix itself.\n"
            "No stem of spare: it is left out as told.\n");
}

TEST(ConformReport, TellsOfSamplesCutOff) {
  conform::ConformReport report = stems();
  report.stems[0].clipped_samples = 1234;
  const std::string text = conform_text(report, stems_lineup(), lists(), "out", "24-bit");
  EXPECT_NE(text.find("keeper: 1234 samples were cut off at full scale in its stem; --bits 32f"),
            std::string::npos)
      << text;
}

TEST(ConformReport, IsOneJsonDocumentThatHoldsTheLineup) {
  const auto document =
      nlohmann::json::parse(conform_json(stems(), stems_lineup(), lists(), "out"));
  EXPECT_EQ(document["kind"], "kilter conform");
  EXPECT_EQ(document["frames"], 48000 * 360);
  EXPECT_EQ(document["stems"][0]["file"], "stems/keeper.wav");
  EXPECT_TRUE(document["stems"][1]["file"].is_null());
  EXPECT_EQ(document["stems"][1]["failure"], "it vanished");
  EXPECT_EQ(document["stems"][4]["reason"], "it is left out as told");
  EXPECT_FALSE(document["stems"][0].contains("reason"));
  EXPECT_EQ(document["fps"], "29.97df");
  EXPECT_EQ(document["start_tc"], "10:00:00;00");
  EXPECT_EQ(document["edits"],
            (nlohmann::json{"edits/cuts.tsv", "edits/hour.edl", "edits/by-track/keeper.edl"}));
  EXPECT_EQ(document["lineup"]["kind"], "kilter lineup");
  EXPECT_EQ(document["lineup"]["tracks"].size(), 5U);
}

}  // namespace
}  // namespace kilter::report
