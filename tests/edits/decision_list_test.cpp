#include "kilter/edits/decision_list.h"

#include <gtest/gtest.h>

#include <cstdlib>

#include "decision_list_reader.h"
#include "random_lineup.h"
#include "sample_lineup.h"
#include "simulator/random.h"
#include "support/temporary_folder.h"

namespace kilter::edits {
namespace {

const std::string kGolden = std::string(KILTER_GOLDEN_FOLDER) + "/lighthouse.adl";
const DecisionListHead kHead{"/shows/lighthouse 12", "2026-11-24T21:58:00Z"};

TEST(DecisionList, LooksAsItAlwaysDid) {
  const std::string list = decision_list(sample_lineup(), {}, kHead);
  if (std::getenv("KILTER_BLESS") != nullptr) test::write_text(kGolden, list);
  EXPECT_EQ(list, test::read_text(kGolden));
}

TEST(DecisionList, PutsEverySoundWithinHalfAMillisecondOfItsPlaceAndLeavesNoneOut) {
  std::size_t count = 0;
  for (std::uint64_t seed = 0; seed < 100; ++seed) {
    SCOPED_TRACE(testing::Message() << "seed " << seed);
    const Lineup lineup = random_lineup(seed);
    simulator::Random random{seed, 9};
    RecordTime record;
    record.origin_s = random.between(-3.0, 3.0);
    const auto sections = read_decision_list(decision_list(lineup, record, kHead));
    check_cut_places(sections, lineup, record, seed);
    count += cuts_of(sections).size();
  }
  EXPECT_GT(count, 1000U);
}

Lineup whole_file(double rate_hz, double drift_ppm, std::int64_t frames) {
  Lineup lineup;
  lineup.session = "evening";
  lineup.timeline_rate_hz = rate_hz;
  LineupTrack track;
  track.name = "keeper";
  track.rate_hz = rate_hz;
  track.parts = {{"keeper.wav", 1, frames}};
  track.standing = Standing::firm;
  track.map = *TimeMap::line(0.0, drift_ppm, static_cast<double>(frames) / track.rate_hz, 1.0);
  lineup.tracks = {track};
  return lineup;
}

TEST(DecisionList, WithoutDriftAFileIsOneCutThatIsRightToTheSample) {
  Lineup lineup = whole_file(48000.0, 0.0, 4800001);
  lineup.tracks[0].map = *TimeMap::line(1234.0 / 48000.0, 0.0, 4800001.0 / 48000.0, 1.0);
  const auto cuts = cuts_of(read_decision_list(decision_list(lineup, {}, kHead)));
  ASSERT_EQ(cuts.size(), 1U);
  EXPECT_EQ(cuts[0].source_in, 0);
  EXPECT_EQ(cuts[0].record_in, 3600LL * 48000 + 1234);
  EXPECT_EQ(cuts[0].record_out, 3600LL * 48000 + 1234 + 4800001);
}

TEST(DecisionList, ADriftingClockIsFollowedInMilliseconds) {
  // 50 ppm: a millisecond in 20 s, so half of one after 10, 30, 50 .. s.
  const auto cuts =
      cuts_of(read_decision_list(decision_list(whole_file(48000.0, 50.0, 4800000), {}, kHead)));
  ASSERT_EQ(cuts.size(), 6U);
  for (std::size_t i = 1; i < cuts.size(); ++i) {
    const std::int64_t before = cuts[i - 1].source_in - cuts[i - 1].record_in;
    EXPECT_EQ(cuts[i].source_in - cuts[i].record_in - before, 48);
    EXPECT_NEAR(static_cast<double>(cuts[i].record_in) / 48000.0 - 3600.0,
                10.0 + 20.0 * static_cast<double>(i - 1), 0.5);  // half a sample is 0.2 s of drift
  }
}

struct CountCase {
  const char* name;
  double rate_hz;
  const char* fps;
  const char* start;
  std::int64_t samples_per_s, frames_per_s;
  const char* written_start;
};

class Counts : public testing::TestWithParam<CountCase> {};

TEST_P(Counts, AreWholeSamplesInEveryFrame) {
  const CountCase& row = GetParam();
  RecordTime record{frame_rate_from_text(row.fps).value(), 0, 0.0};
  record.start_frame = *frame_of_timecode(row.start, record.rate);
  const auto sections =
      read_decision_list(decision_list(whole_file(row.rate_hz, 0.0, 96000), record, kHead));
  EXPECT_EQ(count_of(sections).samples_per_s, row.samples_per_s);
  EXPECT_EQ(count_of(sections).frames_per_s, row.frames_per_s);
  EXPECT_EQ(value_of(sections, "SEQUENCE", "(SEQ_DEST_START)"), row.written_start);
}

INSTANTIATE_TEST_SUITE_P(
    All, Counts,
    testing::Values(
        CountCase{"At25", 48000, "25", "01:00:00:05", 48000, 25, "01.00.00.05/0000"},
        CountCase{"At24", 48000, "24", "01:00:00:05", 48000, 24, "01=00=00.05/0000"},
        CountCase{"At30", 48000, "30", "01:00:00:05", 48000, 30, "01|00|00.05/0000"},
        CountCase{"DropFrame", 48000, "29.97df", "01:00:00;00", 48000, 30, "01|00|00.00/0000"},
        CountCase{"TwiceTheFrames", 96000, "50", "01:00:00:05", 96000, 25, "01.00.00.02*1920"},
        CountCase{"Sixty", 48000, "59.94", "10:00:00:59", 48000, 30, "10|00|00.29/0800"},
        // 1837.5 samples in a frame of 24: counted in 25, the start at the same share of its
        // second.
        CountCase{"NoWholeSamples", 44100, "24", "01:00:00:12", 44100, 25, "01.00.00.12|0882"},
        CountCase{"Film", 88200, "23.976", "01:00:00:00", 88200, 24, "01=00=00.00@0000"},
        CountCase{"ARateWithoutAName", 32000, "25", "01:00:00:00", 48000, 25, "01.00.00.00/0000"}),
    [](const auto& each) { return each.param.name; });

TEST(DecisionList, EveryFileIsIndexedWithAnAddressAndItsLength) {
  Lineup lineup = sample_lineup();
  lineup.tracks[1].parts[0].file = "/elsewhere/Süd \"1\".flac";
  const auto sections = read_decision_list(decision_list(lineup, {}, kHead));
  const auto& index = sections.at("SOURCE_INDEX");
  ASSERT_EQ(index.size(), 4U);
  EXPECT_EQ(index[0], (Record{"(Index)", "0001", "(F)",
                              "\"URL:file://localhost/shows/lighthouse%2012/rec_0001.wav\"", "_",
                              "00.00.00.00/0000", "00.01.40.00/0000", "\"rec_0001.wav\"", "N"}));
  EXPECT_EQ(index[2][3], "\"URL:file://localhost/elsewhere/S%C3%BCd%20%221%22.flac\"");
  EXPECT_EQ(index[2][7], "\"/elsewhere/S_d _1_.flac\"");
}

TEST(DecisionList, NotesNameWhatIsNotInIt) {
  Lineup lineup = sample_lineup();
  lineup.tracks[0].map = *TimeMap::make({{0.0, 150.0, 0.0, 137.8, 1.0}});
  const auto sections = read_decision_list(decision_list(lineup, {}, kHead));
  std::string notes;
  for (const Record& record : sections.at("PROJECT"))
    if (record[0] == "(PROJ_NOTES)") notes = record[1];
  EXPECT_NE(notes.find("Not in this list: keeper, =the _new_ mate"), std::string::npos) << notes;
}

TEST(DecisionList, TwoListsHaveTwoIdentitiesAndOneListHasOne) {
  const auto identity = [](const Lineup& lineup) {
    return value_of(read_decision_list(decision_list(lineup, {}, kHead)), "VERSION", "(ADL_UID)");
  };
  Lineup other = sample_lineup();
  other.tracks[0].name = "mate";
  EXPECT_EQ(identity(sample_lineup()), identity(sample_lineup()));
  EXPECT_NE(identity(sample_lineup()), identity(other));
  const std::string uuid = identity(other);
  ASSERT_EQ(uuid.size(), 36U);
  EXPECT_EQ(uuid[14], '8');
  EXPECT_NE(std::string("89ab").find(uuid[19]), std::string::npos) << uuid;
}

TEST(DecisionList, StemsLieWholeAtTheStart) {
  const StemSet stems{{{"keeper", "keeper.wav"}, {"mate", "mate.wav"}}, 96000.0, 96000 * 7 + 5};
  const auto cuts =
      cuts_of(read_decision_list(stem_decision_list(sample_lineup(), stems, {}, kHead)));
  ASSERT_EQ(cuts.size(), 2U);
  for (const ReadCut& cut : cuts) {
    EXPECT_EQ(cut.source_in, 0);
    EXPECT_EQ(cut.record_in, 3600LL * 96000);
    EXPECT_EQ(cut.record_out - cut.record_in, 96000 * 7 + 5);
  }
  EXPECT_EQ(cuts[1].track, 2U);
}

TEST(DecisionList, StemsAtARateWithoutANameGetNone) {
  EXPECT_EQ(
      stem_decision_list(sample_lineup(), {{{"keeper", "keeper.wav"}}, 32000.0, 32000}, {}, kHead),
      "");
}

}  // namespace
}  // namespace kilter::edits
