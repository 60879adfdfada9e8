#include "kilter/edits/lineup_file.h"

#include <gtest/gtest.h>

#include <cstdlib>
#include <cstring>

#include "sample_lineup.h"
#include "support/file_size_limit.h"
#include "support/temporary_folder.h"

namespace kilter::edits {
namespace {

const std::string kGolden = std::string(KILTER_GOLDEN_FOLDER) + "/lighthouse.lineup.json";

std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return at == std::string::npos ? text : text.replace(at, from.size(), to);
}

/// To the last bit: the tests' maps are not round numbers.
bool same_bits(double a, double b) { return std::memcmp(&a, &b, sizeof a) == 0; }

void expect_same_spans(std::span<const Span> a, std::span<const Span> b) {
  ASSERT_EQ(a.size(), b.size());
  for (std::size_t i = 0; i < a.size(); ++i) {
    EXPECT_TRUE(same_bits(a[i].from_s, b[i].from_s));
    EXPECT_TRUE(same_bits(a[i].to_s, b[i].to_s));
    EXPECT_TRUE(same_bits(a[i].line_from_s, b[i].line_from_s));
    EXPECT_TRUE(same_bits(a[i].line_to_s, b[i].line_to_s));
    EXPECT_TRUE(same_bits(a[i].uncertainty_us, b[i].uncertainty_us));
  }
}

void expect_same_findings(const std::vector<Finding>& a, const std::vector<Finding>& b) {
  ASSERT_EQ(a.size(), b.size());
  for (std::size_t i = 0; i < a.size(); ++i) {
    EXPECT_EQ(a[i].code, b[i].code);
    EXPECT_EQ(a[i].text, b[i].text);
    EXPECT_EQ(a[i].at_s, b[i].at_s);
    EXPECT_EQ(a[i].line_s, b[i].line_s);
    EXPECT_EQ(a[i].step_s, b[i].step_s);
    EXPECT_EQ(a[i].cause, b[i].cause);
    EXPECT_EQ(a[i].rate_hz, b[i].rate_hz);
    ASSERT_EQ(a[i].stretches.size(), b[i].stretches.size());
    for (std::size_t k = 0; k < a[i].stretches.size(); ++k) {
      EXPECT_EQ(a[i].stretches[k].line_from_s, b[i].stretches[k].line_from_s);
      EXPECT_EQ(a[i].stretches[k].line_to_s, b[i].stretches[k].line_to_s);
    }
  }
}

void expect_same_track(const LineupTrack& a, const LineupTrack& b) {
  EXPECT_EQ(a.name, b.name);
  ASSERT_EQ(a.parts.size(), b.parts.size());
  for (std::size_t i = 0; i < a.parts.size(); ++i) {
    EXPECT_EQ(a.parts[i].file, b.parts[i].file);
    EXPECT_EQ(a.parts[i].channel, b.parts[i].channel);
    EXPECT_EQ(a.parts[i].frames, b.parts[i].frames);
  }
  EXPECT_EQ(a.rate_hz, b.rate_hz);
  EXPECT_EQ(a.role, b.role);
  EXPECT_EQ(a.recorder, b.recorder);
  EXPECT_EQ(a.standing, b.standing);
  EXPECT_EQ(a.inverted, b.inverted);
  ASSERT_EQ(a.map.has_value(), b.map.has_value());
  if (a.map) expect_same_spans(a.map->spans(), b.map->spans());
  EXPECT_EQ(a.uncertainty_us, b.uncertainty_us);
  EXPECT_EQ(a.windows_measured, b.windows_measured);
  EXPECT_EQ(a.windows_used, b.windows_used);
  expect_same_findings(a.findings, b.findings);
}

void expect_same(const Lineup& a, const Lineup& b) {
  EXPECT_EQ(a.session, b.session);
  EXPECT_EQ(a.timeline_clock, b.timeline_clock);
  EXPECT_EQ(a.timeline_rate_hz, b.timeline_rate_hz);
  EXPECT_EQ(a.from_s, b.from_s);
  EXPECT_EQ(a.to_s, b.to_s);
  ASSERT_EQ(a.mix.has_value(), b.mix.has_value());
  if (a.mix) {
    EXPECT_EQ(a.mix->file, b.mix->file);
    EXPECT_EQ(a.mix->rate_hz, b.mix->rate_hz);
    EXPECT_EQ(a.mix->frames, b.mix->frames);
    expect_same_spans(a.mix->spans, b.mix->spans);
    expect_same_findings(a.mix->findings, b.mix->findings);
  }
  ASSERT_EQ(a.tracks.size(), b.tracks.size());
  for (std::size_t i = 0; i < a.tracks.size(); ++i) expect_same_track(a.tracks[i], b.tracks[i]);
  expect_same_findings(a.findings, b.findings);
  ASSERT_EQ(a.stems.size(), b.stems.size());
  for (std::size_t i = 0; i < a.stems.size(); ++i) {
    EXPECT_EQ(a.stems[i].file, b.stems[i].file);
    EXPECT_EQ(a.stems[i].digest, b.stems[i].digest);
  }
}

TEST(LineupFile, KeepsFileNamesThatAreNotUtf8ByteByByte) {
  Lineup lineup = sample_lineup();
  lineup.tracks[0].parts[0].file = "l\xFCtt \xE2\x82.wav";
  lineup.mix->file = "\xFF.flac";
  const std::string text = to_text(lineup);
  const auto back = lineup_from_text(text, "a.json");
  ASSERT_TRUE(back) << back.error().what;
  expect_same(lineup, *back);
  // Who edits the name means the name.
  const auto edited = lineup_from_text(replaced(text, "\"l\xEF\xBF\xBDtt ", "\"lutt "), "a.json");
  ASSERT_TRUE(edited);
  EXPECT_EQ(edited->tracks[0].parts[0].file, "lutt \xEF\xBF\xBD\xEF\xBF\xBD.wav");
}

TEST(LineupFile, RoundTripsToTheLastBit) {
  Lineup lineup = sample_lineup();
  lineup.tracks[1].findings[0].rate_hz = 48000.0 / 1.001;
  lineup.stems = {{"keeper.wav", 0xfedcba9876543210}, {"mixdown.wav", 1}};
  const auto back = lineup_from_text(to_text(lineup), "");
  ASSERT_TRUE(back) << back.error().what;
  expect_same(lineup, *back);
}

TEST(LineupFile, RoundTripsWithoutAMixAndWithoutTracks) {
  Lineup lineup;
  lineup.session = "an empty evening";
  lineup.timeline_clock = "keeper";
  lineup.timeline_rate_hz = 44100.0;
  const auto back = lineup_from_text(to_text(lineup), "");
  ASSERT_TRUE(back) << back.error().what;
  expect_same(lineup, *back);
}

// `KILTER_BLESS=1 edits_test` writes the golden files; the diff is the review.
TEST(LineupFile, LooksAsItAlwaysDid) {
  const std::string text = to_text(sample_lineup());
  if (std::getenv("KILTER_BLESS") != nullptr) test::write_text(kGolden, text);
  EXPECT_EQ(text, test::read_text(kGolden));
}

TEST(LineupFile, AnEarlierFileStaysReadable) {
  const auto lineup = read_lineup(kGolden);
  ASSERT_TRUE(lineup) << lineup.error().what;
  expect_same(sample_lineup(), *lineup);
}

TEST(LineupFile, WritesThroughATemporaryName) {
  const test::TemporaryFolder folder;
  ASSERT_TRUE(write_lineup(sample_lineup(), folder / "a.lineup.json"));
  EXPECT_FALSE(std::filesystem::exists(folder / "a.lineup.json.part"));
  const auto back = read_lineup(folder / "a.lineup.json");
  ASSERT_TRUE(back);
  expect_same(sample_lineup(), *back);
}

TEST(LineupFile, AFullDiskLeavesTheEarlierFile) {
  const test::TemporaryFolder folder;
  test::write_text(folder / "a.json", "an earlier file");
  {
    const test::FileSizeLimit limit(1000);
    const auto written = write_lineup(sample_lineup(), folder / "a.json");
    ASSERT_FALSE(written);
    EXPECT_EQ(written.error().kind, ErrorKind::cannot_write);
    EXPECT_EQ(written.error().file, folder / "a.json");
  }
  EXPECT_EQ(test::read_text(folder / "a.json"), "an earlier file");
  EXPECT_FALSE(std::filesystem::exists(folder / "a.json.part"));
}

TEST(LineupFile, AMissingFolderIsAnErrorOfWriting) {
  const test::TemporaryFolder folder;
  const auto written = write_lineup(sample_lineup(), folder / "missing/a.json");
  ASSERT_FALSE(written);
  EXPECT_EQ(written.error().kind, ErrorKind::cannot_write);
}

TEST(LineupFile, AMissingFileAndAFolderAreUnreadable) {
  const test::TemporaryFolder folder;
  for (const auto& file : {folder / "missing.json", folder.path()}) {
    const auto lineup = read_lineup(file);
    ASSERT_FALSE(lineup);
    EXPECT_EQ(lineup.error().kind, ErrorKind::unreadable);
    EXPECT_EQ(lineup.error().file, file);
  }
}

TEST(LineupFile, ASessionWithoutANameIsNamedAfterTheFile) {
  const std::string text =
      replaced(to_text(sample_lineup()), "  \"session\": \"Lighthouse Hour 12\",\n", "");
  const auto lineup = lineup_from_text(text, "shelf/hour-12.lineup.json");
  ASSERT_TRUE(lineup) << lineup.error().what;
  EXPECT_EQ(lineup->session, "hour-12");
}

TEST(LineupFile, UnknownKeysArePassedOver) {
  const std::string text =
      replaced(to_text(sample_lineup()), "\"clock\": \"mix\"", "\"clock\": \"mix\", \"tide\": 3");
  const auto lineup = lineup_from_text(text, "");
  ASSERT_TRUE(lineup) << lineup.error().what;
  expect_same(sample_lineup(), *lineup);
}

TEST(LineupFile, FiguresForPeopleMayBeRounded) {
  const std::string text =
      replaced(to_text(sample_lineup()), "\"start_s\": 12.345678901", "\"start_s\": 12.3456794");
  EXPECT_TRUE(lineup_from_text(text, ""));
}

TEST(LineupFile, ATrackThatAPersonUnplacesNeedsNoSpans) {
  const std::string text =
      replaced(to_text(sample_lineup()), "\"standing\": \"shaky\"", "\"standing\": \"unplaced\"");
  const auto lineup = lineup_from_text(text, "");
  ASSERT_TRUE(lineup) << lineup.error().what;
  EXPECT_FALSE(lineup->tracks[1].map);
}

struct Broken {
  const char* name;
  const char* from;
  const char* to;
  const char* what;  // the whole sentence
};

class BrokenLineup : public testing::TestWithParam<Broken> {};

TEST_P(BrokenLineup, IsAnErrorThatNamesThePlace) {
  const Broken& row = GetParam();
  const std::string text = replaced(to_text(sample_lineup()), row.from, row.to);
  const auto lineup = lineup_from_text(text, "hour.lineup.json");
  ASSERT_FALSE(lineup);
  EXPECT_EQ(lineup.error().kind, ErrorKind::unreadable);
  EXPECT_EQ(lineup.error().file, "hour.lineup.json");
  EXPECT_EQ(lineup.error().what, row.what);
  EXPECT_FALSE(lineup.error().next_step.empty());
}

INSTANTIATE_TEST_SUITE_P(
    All, BrokenLineup,
    testing::Values(
        Broken{"NotJson", "\"version\": 1,", "\"version\": 1;", "is not JSON from line 3 on"},
        Broken{"AnotherKind", "kilter lineup", "tide table", "kind: must be \"kilter lineup\""},
        Broken{"NewerVersion", "\"version\": 1", "\"version\": 2",
               "version: is newer than this program, which reads version 1"},
        Broken{"NoTimeline", "\"timeline\"", "\"tide\"", "timeline: is missing"},
        Broken{"RateOfZero", "\"clock\": \"mix\", \"rate\": 48000",
               "\"clock\": \"mix\", \"rate\": 0",
               "timeline.rate: must be a number from 1 to 1000000"},
        Broken{"RateThatNoFileHas", "\"rate\": 44100", "\"rate\": 4e24",
               "tracks[1].rate: must be a number from 1 to 1000000"},
        Broken{"BoundBelowZero", "\"uncertainty_us\": 3.1", "\"uncertainty_us\": -3.1",
               "tracks[0].spans[0].uncertainty_us: must be a number from 0 to 1000000000000"},
        Broken{"SpeedThatNoClockHas", "\"line_to_s\": 96.758750765692", "\"line_to_s\": 1.0",
               "tracks[1].spans: a span is played at a speed beyond 0.05 to 20"},
        Broken{"TracksAreNoList", "\"tracks\": [", "\"tracks\": 3, \"more\": [",
               "tracks: must be a list"},
        Broken{"NamelessTrack", "\"name\": \"keeper\"", "\"nom\": \"keeper\"",
               "tracks[0].name: is missing"},
        Broken{"NameIsANumber", "\"name\": \"keeper\"", "\"name\": 7",
               "tracks[0].name: must be a text"},
        Broken{"ChannelZero", "\"channel\": 3", "\"channel\": 0",
               "tracks[0].parts[1].channel: must be a whole number from 1 to 1000000"},
        Broken{"FramesWithAFraction", "\"frames\": 2400000", "\"frames\": 2400000.5",
               "tracks[0].parts[1].frames: must be a whole number from 0 to 281474976710656"},
        Broken{"FramesBeyondAnyFile", "\"frames\": 2400000", "\"frames\": 18446744073709551615",
               "tracks[0].parts[1].frames: must be a whole number from 0 to 281474976710656"},
        Broken{"FramesAreText", "\"frames\": 2400000", "\"frames\": \"2400000\"",
               "tracks[0].parts[1].frames: must be a whole number from 0 to 281474976710656"},
        Broken{"UnknownRole", "\"role\": \"remote\"", "\"role\": \"distant\"",
               "tracks[1].role: must be room, remote, mix or ignore"},
        Broken{"UnknownStanding", "\"standing\": \"firm\"", "\"standing\": \"fine\"",
               "tracks[0].standing: must be firm, shaky or unplaced"},
        Broken{"MisspeltInverted", "\"inverted\": true", "\"inverterd\": true",
               "tracks[1].inverted: is missing"},
        Broken{"InvertedIsText", "\"inverted\": true", "\"inverted\": \"true\"",
               "tracks[1].inverted: must be true or false"},
        Broken{"SpanBoundIsNull", "\"to_s\": 120.25", "\"to_s\": null",
               "tracks[0].spans[0].to_s: is missing"},
        Broken{"SpanRunsBackwards", "\"to_s\": 120.25", "\"to_s\": -1.0",
               "tracks[0].spans: a span is empty or runs backwards"},
        Broken{"NumberBeyondAllBounds", "\"to_s\": 120.25", "\"to_s\": 1e999",
               "holds a number beyond all bounds"},
        Broken{"FirmWithoutSpans", "\"standing\": \"unplaced\"", "\"standing\": \"firm\"",
               "tracks[2].spans: a time map needs at least one span"},
        Broken{"StartEditedAlone", "\"start_s\": -3.25", "\"start_s\": -3.5",
               "tracks[1].start_s: does not agree with the spans, which alone count"},
        Broken{"MixWithoutSpans", "\"mix\": {", "\"mix\": { \"spans\": [] }, \"more\": {",
               "mix.file: is missing"}),
    [](const auto& each) { return each.param.name; });

TEST(LineupFile, ANameThatIsNotUtf8StillGivesAReadableFile) {
  Lineup lineup = sample_lineup();
  lineup.tracks[0].name = "lamp \xE9";
  const auto back = lineup_from_text(to_text(lineup), "");
  ASSERT_TRUE(back) << back.error().what;
  EXPECT_EQ(back->tracks[0].name, "lamp \xEF\xBF\xBD");
}

}  // namespace
}  // namespace kilter::edits
