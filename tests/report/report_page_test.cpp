#include "kilter/report/report_page.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <regex>
#include <set>

#include "departure.h"
#include "kilter/report/lineup_report.h"
#include "markup.h"
#include "null_plot.h"
#include "sample_pages.h"
#include "titles.h"
#include "wave.h"

namespace kilter::report {
namespace {

using test::calm_page;
using test::hostile_page;
using test::troubled_page;

/// A line per need: number, owner, title.
std::string listed(const ReportPage& page) {
  std::string text;
  for (const Need& need : needs_of(page))
    text += std::to_string(need.number) + " [" + fmt::format("{}", fmt::join(need.owners, ", ")) +
            "] " + need.title + '\n';
  return text;
}

TEST(ReportPage, SaysInASentenceThatAllIsWell) {
  EXPECT_EQ(session_sentence(calm_page(5, 60.0)->page),
            "All 5 tracks lie in step with the mix, to 0.016 ms or better. Nothing needs a "
            "person.");
  EXPECT_EQ(session_sentence(calm_page(2, 60.0)->page),
            "Both tracks lie in step with the mix, to 0.016 ms or better. Nothing needs a person.");
  EXPECT_EQ(session_sentence(calm_page(1, 60.0)->page),
            "The track lies in step with the mix, to 0.016 ms or better. Nothing needs a person.");
}

TEST(ReportPage, SaysInASentenceWhoIsNotInStep) {
  auto sample = calm_page(3, 60.0);
  sample->lineup.tracks[1].standing = Standing::shaky;
  EXPECT_EQ(session_sentence(sample->page),
            "2 of 3 tracks lie in step with the mix, to 0.016 ms or better; keeper-2 is shaky. One "
            "thing needs a person.");
  sample->lineup.tracks[0].standing = Standing::unplaced;
  sample->lineup.tracks[0].map.reset();
  EXPECT_EQ(session_sentence(sample->page),
            "1 of 3 tracks lies in step with the mix, to 0.016 ms or better; keeper-2 is shaky; "
            "keeper-1 has no place. 2 things need a person.");
  sample->lineup.tracks[2].standing = Standing::shaky;
  EXPECT_EQ(session_sentence(sample->page),
            "No track has a sure place; keeper-2 and keeper-3 are shaky; keeper-1 has no place. 2 "
            "things need a person.");
  for (LineupTrack& track : sample->lineup.tracks) track.role = Role::ignore;
  EXPECT_EQ(session_sentence(sample->page), "No track is a person's. Nothing needs a person.");
}

TEST(ReportPage, DoesNotVouchForWhatAPersonPlaced) {
  auto sample = calm_page(2, 60.0);
  Finding overruled;
  overruled.code = "overruled";
  sample->lineup.tracks[0].findings = {overruled};
  EXPECT_EQ(
      session_sentence(sample->page),
      "1 of 2 tracks lies in step with the mix, to 0.016 ms or better; keeper-1 lies where it "
      "was told. Nothing needs a person.");
  sample->lineup.tracks[1].findings = {overruled};
  EXPECT_EQ(
      session_sentence(sample->page),
      "No track has a sure place; keeper-1 and keeper-2 lie where they were told. Nothing needs "
      "a person.");
}

TEST(ReportPage, NamesAFewOfMany) {
  auto sample = calm_page(9, 60.0);
  for (LineupTrack& track : sample->lineup.tracks) track.standing = Standing::shaky;
  EXPECT_EQ(
      session_sentence(sample->page),
      "No track has a sure place; keeper-1, keeper-2, keeper-3 and 6 more are shaky. One thing "
      "needs a person.");
}

TEST(ReportPage, SaysOnWhoseClockTracksLieWithoutAMix) {
  auto sample = calm_page(2, 60.0);
  sample->lineup.mix.reset();
  sample->lineup.timeline_clock = "keeper-1";
  sample->stems.mix.reset();
  sample->lineup.tracks[1].standing = Standing::shaky;
  EXPECT_EQ(
      session_sentence(sample->page),
      "There is no mix, and the tracks lie on the clock of \"keeper-1\"; keeper-2 is shaky. One "
      "thing needs a person.");
  EXPECT_NE(report_html(sample->page).find("no mix; on the clock of <bdi>keeper-1</bdi>"),
            std::string::npos);
}

TEST(ReportPage, ListsWhatNeedsAPersonWithTheNumbersOfTheTables) {
  EXPECT_EQ(listed(troubled_page()->page), R"(1 [] More than one file could be the mix
2 [keeper] A stretch lost or repeated
3 [keeper] A stretch lost or repeated
8 [keeper] Breaks off
9 [keeper] Samples that are no numbers
13 [keeper] Sound lost on the way
22 [mate] Its place is not sure
23 [mate] Placed where another track lies
24 [mate] Silent
25 [mate] Nobody is heard on it
0 [cook] Its stem is missing
27 [stranger] Fits nowhere
28 [stranger] Too short to tell
0 [late] Lies outside the stems' time
30 [unread] Cannot be read
31 [mixdown.flac] The mix lost or repeated a stretch
34 [] Somebody is heard whom no track holds
36 [] A file is missing in between
37 [] Not looked at
)");
}

TEST(ReportPage, NumbersAsTheTerminalDoesAndSaysOnceWhatTracksShare) {
  auto sample = calm_page(3, 60.0);
  std::vector<LineupTrack>& tracks = sample->lineup.tracks;
  Finding loss;
  loss.code = "seam";
  loss.text = "The recorder lost 250.0 ms of sound.";
  loss.line_s = 30.0;
  Finding music;
  music.code = "mix-music";
  music.text = "Music plays.";
  for (const std::size_t i : {0U, 2U}) tracks[i].findings = {loss};
  Finding other = loss;
  other.text = "This file lost 60.0 ms of sound.";
  tracks[2].findings.push_back(other);
  sample->lineup.findings = {music};
  EXPECT_EQ(listed(sample->page),
            "1 [keeper-1, keeper-3] A stretch lost or repeated\n"
            "2 [keeper-3] A stretch lost or repeated\n");
  const std::string text = lineup_text(sample->lineup);
  EXPECT_NE(text.find(" 1. keeper-1, keeper-3: The recorder"), std::string::npos) << text;
  EXPECT_NE(text.find(" 2. keeper-3: This file"), std::string::npos) << text;
  EXPECT_NE(text.find(" 3. Music plays."), std::string::npos) << text;
  const std::string html = report_html(sample->page);
  const auto first = html.find("<li id=\"f1\"");
  ASSERT_NE(first, std::string::npos);
  EXPECT_EQ(html.find("<li id=\"f1\"", first + 1), std::string::npos);
  EXPECT_NE(html.find("<bdi>keeper-1</bdi>, <bdi>keeper-3</bdi>: A stretch"), std::string::npos);
  EXPECT_NE(html.find("<li id=\"f3\""), std::string::npos);
}

TEST(ReportPage, AsksNothingOfAnybodyForWhatIsMerelyGoodToKnow) {
  auto sample = calm_page(2, 60.0);
  Finding music;
  music.code = "mix-music";
  sample->lineup.findings = {music};
  sample->lineup.tracks[0].role = Role::mix;
  sample->lineup.tracks[0].standing = Standing::unplaced;
  EXPECT_EQ(listed(sample->page), "");
}

TEST(ReportPage, FindsATrackWhoseBoundIsBeyondTheLimit) {
  auto sample = calm_page(2, 60.0);
  sample->page.limit_ms = 0.01;
  EXPECT_EQ(listed(sample->page), "0 [keeper-1, keeper-2] May lie beyond the limit\n");
}

TEST(ReportPage, FindsATrackThatIsNotFirmEvenIfNothingIsFound) {
  auto sample = calm_page(2, 60.0);
  sample->lineup.tracks[0].standing = Standing::shaky;
  sample->lineup.tracks[1].standing = Standing::unplaced;
  EXPECT_EQ(listed(sample->page),
            "0 [keeper-1] Its place is shaky\n0 [keeper-2] It has no place\n");
}

TEST(ReportPage, HasWordsForEveryKindOfFinding) {
  const auto sample = troubled_page();
  std::vector<Finding> all = sample->lineup.findings;
  const auto add = [&](const std::vector<Finding>& more) {
    all.insert(all.end(), more.begin(), more.end());
  };
  add(sample->lineup.mix->findings);
  for (const LineupTrack& track : sample->lineup.tracks) add(track.findings);
  for (const Finding& finding : all) EXPECT_NE(title_of(finding), finding.code);
  Finding unknown;
  unknown.code = "of-tomorrow";
  EXPECT_EQ(title_of(unknown), "of-tomorrow");
}

TEST(ReportPage, IsTheSameForTheSameSession) {
  EXPECT_EQ(report_html(troubled_page()->page), report_html(troubled_page()->page));
}

TEST(ReportPage, EscapesEverythingThatCameFromElsewhere) {
  const auto sample = hostile_page();
  const std::string html = report_html(sample->page);
  // Two scripts, its own, and no element that a name brought.
  const auto count = [&](const std::string& text) {
    std::size_t found = 0;
    for (auto at = html.find(text); at != std::string::npos; at = html.find(text, at + 1)) ++found;
    return found;
  };
  EXPECT_EQ(count("<script"), 2U);
  EXPECT_EQ(count("</script"), 2U);
  EXPECT_EQ(count("<img"), 0U);
  EXPECT_EQ(count("<!--"), 0U);
  EXPECT_EQ(count("\xE2\x80\xA8"), 0U);  // U+2028
  EXPECT_EQ(count("\xE2\x80\xA9"), 0U);
  EXPECT_GT(count("\xE2\x90\xA4\xE2\x90\xA4 separators"), 5U);
  for (const char letter : html)
    EXPECT_TRUE(letter == '\n' || static_cast<unsigned char>(letter) >= 0x20);
}

TEST(ReportPage, HandsTheScriptItsDataAsPlainAscii) {
  const auto sample = hostile_page();
  const std::string html = report_html(sample->page);
  const std::string start = "<script type=\"application/json\" id=\"data\">";
  const auto from = html.find(start) + start.size();
  const std::string data = html.substr(from, html.find("</script>", from) - from);
  for (const char letter : data) {
    EXPECT_TRUE(letter >= 0x20 && letter < 0x7F);
    EXPECT_TRUE(letter != '<' && letter != '>' && letter != '&');
  }
  const auto parsed = nlohmann::json::parse(data);
  EXPECT_EQ(parsed["lanes"].size(), 9U);
  EXPECT_EQ(parsed["lanes"][1]["name"], test::kHostileNames[0]);
  EXPECT_EQ(parsed["lanes"][6]["name"], test::kHostileNames[5]);
}

TEST(ReportPage, FetchesNothing) {
  for (const std::string& html :
       {report_html(troubled_page()->page), report_html(hostile_page()->page)}) {
    EXPECT_EQ(html.find("http:"), std::string::npos);
    EXPECT_EQ(html.find("https:"), std::string::npos);
    for (const char* way : {"url(", "@import", "<link", "<img", "<iframe", "fetch("})
      EXPECT_EQ(html.find(way), std::string::npos) << way;
    EXPECT_NE(html.find("default-src 'none'"), std::string::npos);
    for (auto at = html.find(" src=\""); at != std::string::npos; at = html.find(" src=\"", at + 1))
      EXPECT_TRUE(html.substr(at).starts_with(" src=\"listen/")) << html.substr(at, 60);
  }
  const std::string without = report_html(calm_page(2, 60.0)->page);
  EXPECT_EQ(without.find(" src=\""), std::string::npos);
  EXPECT_EQ(without.find("media-src"), std::string::npos);
  EXPECT_EQ(without.find("id=\"listen\""), std::string::npos);
}

TEST(ReportPage, LeadsFromWhatNeedsAPersonToTheClipsOfIt) {
  const std::string html = report_html(troubled_page()->page);
  const auto says = [&](const std::string& text) { return html.find(text) != std::string::npos; };
  EXPECT_TRUE(says("lost 1.7 s. Listen there. <a href=\"#c2\">Listen to it</a></p>"));
  // A place without a clip, and a doubt of a whole track.
  EXPECT_TRUE(says("lost 40 ms. Listen there. <a href=\"#t1\">Listen to clips of it</a></p>"));
  EXPECT_TRUE(says("stretches are heard. Listen to it. <a href=\"#t4\">Listen to clips of it</a>"));
  EXPECT_TRUE(says("No place in the mix fits its sound.</p>"));
  EXPECT_TRUE(
      says("src=\"listen/keeper_00h03m23s_seam.wav\" aria-label=\"keeper, 00:03:23, seam: a "
           "step of +1700 ms\""));
  EXPECT_TRUE(says("2 more seams with smaller steps have no clip."));
}

TEST(ReportPage, SaysWhichClipsThereCannotBeWhereTheLineupWasGiven) {
  auto sample = troubled_page();
  sample->page.heard = nullptr;
  const std::string html = report_html(sample->page);
  EXPECT_NE(html.find("no clips of the worst residuals"), std::string::npos);
  sample->stems.clips->clips.clear();
  EXPECT_NE(report_html(sample->page).find("<p>No clip.</p>"), std::string::npos);
}

TEST(ReportPage, LeadsFromEachNumberToItsFinding) {
  const std::string html = report_html(troubled_page()->page);
  std::set<std::string> ids;
  const std::regex id(" id=\"([^\"]+)\"");
  for (std::sregex_iterator at(html.begin(), html.end(), id), end; at != end; ++at)
    EXPECT_TRUE(ids.insert((*at)[1]).second) << (*at)[1] << " stands twice";
  const std::regex link("href=\"#([^\"]+)\"");
  int links = 0;
  for (std::sregex_iterator at(html.begin(), html.end(), link), end; at != end; ++at, ++links)
    EXPECT_TRUE(ids.contains((*at)[1])) << (*at)[1];
  EXPECT_GT(links, 38);
}

TEST(ReportPage, SaysWhatWasNotMeasuredWhereTheLineupWasGiven) {
  auto sample = troubled_page();
  EXPECT_EQ(report_html(sample->page).find("class=\"unmeasured\""), std::string::npos);
  sample->page.heard = nullptr;
  const std::string html = report_html(sample->page);
  EXPECT_NE(html.find("Not measured: the lineup was given."), std::string::npos);
  EXPECT_NE(html.find("there are no outlines of the sound"), std::string::npos);
  EXPECT_NE(html.find("there are no windows here"), std::string::npos);
  EXPECT_EQ(listed(sample->page), listed(troubled_page()->page));
}

TEST(ReportPage, OfThreeHoursAndTenTracksStaysSmall) {
  EXPECT_LT(report_html(calm_page(10, 10800.0)->page).size(), 3U << 20U);
}

TEST(Markup, ShowsControlCharactersAsPicturesAndNoCharactersAsUnknown) {
  EXPECT_EQ(escaped("a\nb\x7F"),
            "a\xE2\x90\x8A"
            "b\xE2\x90\xA1");
  EXPECT_EQ(escaped("\xFF\xEF\xBF\xBE\xC2\x85"), "\xEF\xBF\xBD\xEF\xBF\xBD\xEF\xBF\xBD");
  EXPECT_EQ(escaped("<a href=\"x\">'&"), "&lt;a href=&quot;x&quot;&gt;&#39;&amp;");
}

TEST(Markup, WritesBytesAsTheStandardSays) {
  // RFC 4648, section 10.
  for (const auto& [bytes, text] : {std::pair{"", ""},
                                    {"f", "Zg=="},
                                    {"fo", "Zm8="},
                                    {"foo", "Zm9v"},
                                    {"foob", "Zm9vYg=="},
                                    {"fooba", "Zm9vYmE="},
                                    {"foobar", "Zm9vYmFy"}})
    EXPECT_EQ(base64(bytes), text);
  EXPECT_EQ(base64("\xFF\xFE\xFD"), "//79");
}

TEST(Markup, WritesPathsAsRelativeAddresses) {
  EXPECT_EQ(url_text("listen/mate_00h03m23s_seam.wav"), "listen/mate_00h03m23s_seam.wav");
  EXPECT_EQ(url_text("a b#c?d%e\"'&<é"), "a%20b%23c%3Fd%25e%22%27%26%3C%C3%A9");
  EXPECT_EQ(url_text("javascript:x"), "javascript%3Ax");
}

TEST(Markup, WritesNumbersWithoutIdleDigits) {
  EXPECT_EQ(short_number(0.5, 3), "0.5");
  EXPECT_EQ(short_number(-0.0004, 3), "0");
  EXPECT_EQ(short_number(100.0, 0), "100");
  EXPECT_EQ(short_number(-2.25, 1), "-2.2");
}

TEST(Departure, OfAStraightLineIsZero) {
  const auto sections = departure_of(*TimeMap::line(12.0, 88.0, 3600.0, 15.0));
  ASSERT_EQ(sections.size(), 1U);
  for (const DeparturePoint& point : sections[0].points) {
    EXPECT_NEAR(point.offset_us, 0.0, 0.01);
    EXPECT_EQ(point.bound_us, 15.0);
  }
}

TEST(Departure, TellsStepsBySizeAndLaysEachSectionAroundZero) {
  const auto map =
      TimeMap::make({{0.0, 100.0, 5.0, 105.0, 1.0}, {100.0, 300.0, 106.7, 306.7, 1.0}});
  const auto sections = departure_of(*map);
  ASSERT_EQ(sections.size(), 2U);
  EXPECT_EQ(sections[0].step_s, 0.0);
  EXPECT_NEAR(sections[1].step_s, 1.7, 1e-9);
  for (const DepartureSection& section : sections)
    for (const DeparturePoint& point : section.points) EXPECT_NEAR(point.offset_us, 0.0, 0.01);
}

TEST(Departure, ShowsWander) {
  // The first half runs 1 ppm fast of the mean, the second 1 ppm slow.
  const double fast = 1.0 - 1e-6;
  const double slow = 1.0 + 1e-6;
  const auto map = TimeMap::make({{0.0, 100.0, 0.0, 100.0 * fast, 1.0},
                                  {100.0, 200.0, 100.0 * fast, 100.0 * (fast + slow), 1.0}});
  const auto sections = departure_of(*map);
  ASSERT_EQ(sections.size(), 1U);
  const auto& points = sections[0].points;
  ASSERT_EQ(points.size(), 3U);
  EXPECT_NEAR(points[1].offset_us - points[0].offset_us, -100.0, 0.1);
  EXPECT_NEAR(points[2].offset_us - points[1].offset_us, 100.0, 0.1);
}

TEST(Departure, PutsWindowsBesideTheCurveAndDropsThoseThatTheMapDoesNotHold) {
  const auto map =
      TimeMap::make({{0.0, 100.0, 5.0, 105.0, 1.0}, {150.0, 300.0, 155.0, 305.0, 1.0}});
  const auto windows =
      windows_beside(*map, departure_of(*map),
                     {{50.0, 7.0, 2.0, 1.0}, {120.0, 9.0, 2.0, 1.0}, {200.0, -4.0, 3.0, 0.0}});
  ASSERT_EQ(windows.size(), 2U);
  EXPECT_NEAR(windows[0].line_s, 55.0, 1e-9);
  EXPECT_NEAR(windows[0].offset_us, 7.0, 0.01);
  EXPECT_NEAR(windows[1].offset_us, -4.0, 0.01);
}

TEST(Departure, ScalesToARoundNumberThatHoldsTheBound) {
  const auto sections = departure_of(*TimeMap::line(0.0, 0.0, 60.0, 15.2));
  EXPECT_EQ(scale_us(sections, {}), 20.0);
  EXPECT_EQ(scale_us(sections, {{1.0, 900.0, 1.0, 0.0}}), 20.0);  // not used
  EXPECT_EQ(scale_us(sections, {{1.0, 900.0, 1.0, 1.0}}), 1000.0);
  const auto unsure = departure_of(*TimeMap::line(0.0, 0.0, 60.0, 1.5e6));
  EXPECT_EQ(scale_us(unsure, {}), 2e6);
  EXPECT_EQ(scale_us(unsure, {{1.0, 12.0, 1.0, 1.0}}), 20.0);
}

TEST(Wave, HoldsALevelPerCellInHalvesOfADecibel) {
  const WaveBytes bytes = wave_bytes({1.0, {{1.0F, 0.01F}, {0.0F, 0.0F}, {1e-9F, 1e-18F}}});
  EXPECT_EQ(bytes.peaks, std::string("\xC9\x00\x01", 3));   // 0 dBFS: 201
  EXPECT_EQ(bytes.powers, std::string("\xA1\x00\x01", 3));  // -20 dBFS: 161
}

TEST(Wave, IsDrawnWhereTheMapPutsIt) {
  // Ten seconds, loud in the second half, that lie from 50 to 60 of 100.
  Envelope envelope{1.0, std::vector<EnvelopeCell>(10)};
  for (std::size_t i = 5; i < 10; ++i) envelope.cells[i] = {1.0F, 0.1F};
  const WavePaths paths = wave_paths(envelope, {{0.0, 10.0, 50.0, 60.0, 0.0}}, {0.0, 100.0}, 20);
  EXPECT_EQ(paths.peaks, "M50000 50h5000V2h5000V98h-5000V50h-5000z");
}

TEST(Wave, LeavesAHoleWhereSoundWasLost) {
  const Envelope envelope{1.0, std::vector<EnvelopeCell>(40, {1.0F, 0.1F})};
  const WavePaths paths = wave_paths(
      envelope, {{0.0, 20.0, 0.0, 20.0, 0.0}, {20.0, 40.0, 60.0, 80.0, 0.0}}, {0.0, 80.0}, 4);
  EXPECT_EQ(paths.peaks, "M0 2h25000V98h-25000zM75000 2h25000V98h-25000z");
}

NullCell told(float mix_db, float rest_db) { return {NullCell::Kind::told, mix_db, rest_db}; }

TEST(NullPlot, HoldsWhatIsLeftInQuartersOfADecibelAndTheMixInHalves) {
  NullDepth null;
  null.cells = {told(-20.0F, 0.0F),
                told(-25.0F, -10.0F),
                told(-20.0F, -90.0F),
                {NullCell::Kind::pause, -60.0F, -1.0F},
                {}};
  const NullBytes bytes = null_bytes(null);
  EXPECT_EQ(bytes.rest, std::string("\x02\x2A\xFF\x01\x00", 5));
  EXPECT_EQ(bytes.mix.substr(0, 4), std::string("\xFF\xF5\xFF\xAF", 4));
}

TEST(NullPlot, DrawsTheWorstOfAColumnAndThePowerOfAllThatIsLeft) {
  // Two columns of two halves: in the first the loud half is explained well and the faint one not
  // at all, in the second nobody is heard.
  NullDepth null;
  null.cells = {
      told(-20.0F, -20.0F), told(-40.0F, 0.0F), {NullCell::Kind::pause, -60.0F, 0.0F}, {}};
  const NullPaths paths = null_paths(null, {{0.0, 2.0, 10.0, 12.0, 0.0}}, {10.0, 12.0}, 2);
  EXPECT_EQ(paths.worst, "M0 100V0h50000V100z");
  // A hundredth of the loud half and all of the faint one, which is another hundredth: -17 dB.
  EXPECT_EQ(paths.whole, "M0 100V43h50000V100z");
}

TEST(NullPlot, GoesUnderADeepestLine) {
  NullDepth null;
  null.cells = {told(-20.0F, -55.0F)};
  EXPECT_EQ(null_paths(null, {{0.0, 0.5, 0.0, 0.5, 0.0}}, {0.0, 0.5}, 1).whole,
            "M0 100V100h100000V100z");
}

TEST(ReportPage, DrawsHowFarTheTracksExplainTheMixOrSaysWhyNot) {
  auto sample = troubled_page();
  const auto says = [&](const std::string& text) {
    return report_html(sample->page).find(text) != std::string::npos;
  };
  EXPECT_TRUE(says("typically -23.4 dB"));
  sample->heard.moved_since = true;
  EXPECT_FALSE(says("typically"));
  EXPECT_TRUE(says("somebody has put tracks elsewhere"));
  EXPECT_FALSE(says("\"rest\""));
  sample->heard.moved_since = false;
  sample->heard.null = {};
  EXPECT_TRUE(says("no track is placed by its sound"));
  sample->page.heard = nullptr;
  EXPECT_TRUE(says("Not measured: the lineup was given. <code>kilter check</code>"));
  sample->lineup.mix.reset();
  EXPECT_FALSE(says("id=\"null\""));
}

TEST(Axis, HoldsTheMixAndEveryPlacedTrack) {
  const auto sample = troubled_page();
  const Axis axis = axis_of(sample->lineup);
  EXPECT_EQ(axis.from_s, -30.0);
  EXPECT_NEAR(axis.to_s, 730.0, 1e-3);
}

TEST(Axis, HasAFewRoundTicks) {
  EXPECT_EQ(ticks_of({-8.0, 120.0}, 6), (std::vector<double>{0.0, 30.0, 60.0, 90.0, 120.0}));
  for (const double length_s : {0.2, 3.0, 61.0, 7200.0, 1e5, 1e7}) {
    const auto ticks = ticks_of({0.0, length_s}, 6);
    EXPECT_GE(ticks.size(), 2U) << length_s;
    EXPECT_LE(ticks.size(), 7U) << length_s;
  }
}

}  // namespace
}  // namespace kilter::report
