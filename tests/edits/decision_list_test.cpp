#include "kilter/edits/decision_list.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <map>
#include <sstream>

#include "random_lineup.h"
#include "sample_lineup.h"
#include "simulator/random.h"
#include "support/temporary_folder.h"

namespace kilter::edits {
namespace {

const std::string kGolden = std::string(KILTER_GOLDEN_FOLDER) + "/lighthouse.adl";
const DecisionListHead kHead{"/shows/lighthouse 12", "2026-11-24T21:58:00Z"};

/// Sections of records of words, as the form is: line breaks are blanks, a text in quotes is one
/// word, whose quotes are kept.
using Record = std::vector<std::string>;
using Sections = std::map<std::string, std::vector<Record>>;

std::vector<std::string> words_of(const std::string& text) {
  std::vector<std::string> words;
  for (std::size_t at = 0; at < text.size();) {
    if (std::isspace(static_cast<unsigned char>(text[at])) != 0) {
      ++at;
      continue;
    }
    const char end = text[at] == '"' ? '"' : text[at] == '(' ? ')' : text[at] == '<' ? '>' : ' ';
    std::size_t to = at + 1;
    while (to < text.size() &&
           (end == ' ' ? std::isspace(static_cast<unsigned char>(text[to])) == 0 : text[to] != end))
      ++to;
    if (end != ' ') ++to;
    words.push_back(text.substr(at, to - at));
    at = to;
  }
  return words;
}

Sections read_list(const std::string& text) {
  Sections sections;
  std::string section;
  for (const char each : text) EXPECT_TRUE((each >= 0x20 && each < 0x7F) || each == '\n');
  for (const std::string& word : words_of(text)) {
    EXPECT_LE(word.size(), 257U);
    if (word.starts_with("</"))
      section.clear();
    else if (word.starts_with("<"))
      section = word.substr(1, word.size() - 2);
    else if (word.starts_with("(") && word != "(F)" && word != "(Cut)")
      sections[section].push_back({word});
    else
      sections[section].back().push_back(word);
  }
  return sections;
}

struct Count {
  std::int64_t samples_per_s{0}, frames_per_s{0};
};

std::string value_of(const Sections& sections, const std::string& section, const std::string& key) {
  for (const Record& record : sections.at(section))
    if (record[0] == key) return record[1];
  ADD_FAILURE() << key << " is missing";
  return "";
}

Count count_of(const Sections& sections) {
  return {std::stoll(value_of(sections, "SEQUENCE", "(SEQ_SAMPLE_RATE)").substr(1)),
          std::stoll(value_of(sections, "SEQUENCE", "(SEQ_FRAME_RATE)"))};
}

/// Five numbers with any signs between them, as the careful reader takes them.
std::int64_t sample_of(const std::string& time, const Count& count) {
  EXPECT_EQ(time.size(), 16U) << time;
  const auto number = [&](std::size_t at, std::size_t digits) {
    return std::stoll(time.substr(at, digits));
  };
  const std::int64_t samples_per_frame = count.samples_per_s / count.frames_per_s;
  EXPECT_EQ(samples_per_frame * count.frames_per_s, count.samples_per_s);
  EXPECT_LT(number(9, 2), count.frames_per_s) << time;
  EXPECT_LT(number(12, 4), samples_per_frame) << time;
  return (number(0, 2) * 3600 + number(3, 2) * 60 + number(6, 2)) * count.samples_per_s +
         number(9, 2) * samples_per_frame + number(12, 4);
}

struct ReadCut {
  std::size_t file{0}, track{0};
  int channel{0};
  std::int64_t source_in{0}, record_in{0}, record_out{0};
};

std::vector<ReadCut> cuts_of(const Sections& sections) {
  const Count count = count_of(sections);
  std::vector<ReadCut> cuts;
  const auto list = sections.find("EVENT_LIST");
  if (list == sections.end()) return cuts;
  for (const Record& record : list->second) {
    if (record[0] != "(Entry)") continue;
    EXPECT_EQ(record.size(), 11U);
    EXPECT_EQ(std::stoul(record[1]), cuts.size() + 1);
    EXPECT_EQ(record[2] + record[3] + record[10], "(Cut)I_");
    cuts.push_back({std::stoul(record[4]), std::stoul(record[6]), std::stoi(record[5]),
                    sample_of(record[7], count), sample_of(record[8], count),
                    sample_of(record[9], count)});
  }
  return cuts;
}

TEST(DecisionList, LooksAsItAlwaysDid) {
  const std::string list = decision_list(sample_lineup(), {}, kHead);
  if (std::getenv("KILTER_BLESS") != nullptr) test::write_text(kGolden, list);
  EXPECT_EQ(list, test::read_text(kGolden));
}

class RandomList {
 public:
  explicit RandomList(std::uint64_t seed) : random_{seed, 9}, lineup_(random_lineup(seed)) {
    record_.origin_s = random_.between(-3.0, 3.0);
    const std::string text = decision_list(lineup_, record_, kHead);
    sections_ = read_list(text);
    count_ = count_of(sections_);
    cuts_ = cuts_of(sections_);
  }

  void check() {
    ASSERT_EQ(static_cast<double>(count_.samples_per_s), lineup_.timeline_rate_hz);
    std::map<std::size_t, std::int64_t> end_of_track;
    for (const ReadCut& cut : cuts_) {
      EXPECT_LT(cut.record_in, cut.record_out);
      EXPECT_GE(cut.record_in, end_of_track[cut.track]);
      end_of_track[cut.track] = cut.record_out;
      check_cut(cut);
    }
    std::size_t number = 0;
    for (const LineupTrack& track : lineup_.tracks)
      if (track.is_used()) check_coverage(track, ++number);
  }
  std::size_t cuts() const { return cuts_.size(); }

 private:
  double line_s(double sample) const {
    return record_.origin_s + sample / static_cast<double>(count_.samples_per_s) - 3600.0;
  }

  void check_cut(const ReadCut& cut) {
    std::size_t number = 0;
    std::size_t file = 0;
    for (const LineupTrack& track : lineup_.tracks) {
      if (track.is_used()) ++number;
      double part_from_s = 0.0;
      for (const TrackPart& part : track.parts) {
        if (++file == cut.file) {
          EXPECT_EQ(number, cut.track);
          EXPECT_EQ(part.channel, cut.channel);
          check_place(cut, track, part_from_s);
        }
        part_from_s += static_cast<double>(part.frames) / track.rate_hz;
      }
    }
    EXPECT_LE(cut.file, file);
  }

  void check_place(const ReadCut& cut, const LineupTrack& track, double part_from_s) {
    const auto rate_hz = static_cast<double>(count_.samples_per_s);
    const auto length = static_cast<double>(cut.record_out - cut.record_in);
    if (length < 6.0) return;
    for (const double samples : {2.0, 0.3 * length, 0.6 * length, length - 2.0}) {
      const auto track_s =
          track.map->to_track(line_s(static_cast<double>(cut.record_in) + samples));
      ASSERT_TRUE(track_s);
      // Half a millisecond of drift, half a sample for rounding, a little for the arithmetic.
      EXPECT_NEAR((static_cast<double>(cut.source_in) + samples) / rate_hz, *track_s - part_from_s,
                  0.5e-3 + 0.51 / rate_hz);
    }
  }

  /// Two milliseconds from every end sound is listed once.
  void check_coverage(const LineupTrack& track, std::size_t number) {
    constexpr double kMargin_s = 2e-3;
    for (const Span& span : track.map->spans()) {
      for (int i = 0; i < 10; ++i) {
        const double track_s = random_.between(span.from_s, span.to_s);
        double join_s = 0.0;
        bool near_end = track_s < span.from_s + kMargin_s || track_s > span.to_s - kMargin_s;
        for (const TrackPart& part : track.parts) {
          join_s += static_cast<double>(part.frames) / track.rate_hz;
          near_end = near_end || std::abs(track_s - join_s) < kMargin_s;
        }
        if (near_end) continue;
        const double at = (*track.map->to_line(track_s) - line_s(0.0)) *
                          static_cast<double>(count_.samples_per_s);
        const auto holding = std::count_if(cuts_.begin(), cuts_.end(), [&](const ReadCut& cut) {
          return cut.track == number && static_cast<double>(cut.record_in) <= at &&
                 at < static_cast<double>(cut.record_out);
        });
        EXPECT_EQ(holding, 1) << track_s;
      }
    }
  }

  simulator::Random random_;
  Lineup lineup_;
  RecordTime record_;
  Sections sections_;
  Count count_;
  std::vector<ReadCut> cuts_;
};

TEST(DecisionList, PutsEverySoundWithinHalfAMillisecondOfItsPlaceAndLeavesNoneOut) {
  std::size_t cuts = 0;
  for (std::uint64_t seed = 0; seed < 100; ++seed) {
    RandomList list(seed);
    SCOPED_TRACE(testing::Message() << "seed " << seed);
    list.check();
    cuts += list.cuts();
    if (testing::Test::HasFailure()) return;
  }
  EXPECT_GT(cuts, 1000U);
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
  const auto cuts = cuts_of(read_list(decision_list(lineup, {}, kHead)));
  ASSERT_EQ(cuts.size(), 1U);
  EXPECT_EQ(cuts[0].source_in, 0);
  EXPECT_EQ(cuts[0].record_in, 3600LL * 48000 + 1234);
  EXPECT_EQ(cuts[0].record_out, 3600LL * 48000 + 1234 + 4800001);
}

TEST(DecisionList, ADriftingClockIsFollowedInMilliseconds) {
  // 50 ppm: a millisecond in 20 s, so half of one after 10, 30, 50 .. s.
  const auto cuts =
      cuts_of(read_list(decision_list(whole_file(48000.0, 50.0, 4800000), {}, kHead)));
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
      read_list(decision_list(whole_file(row.rate_hz, 0.0, 96000), record, kHead));
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
  const auto sections = read_list(decision_list(lineup, {}, kHead));
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
  const auto sections = read_list(decision_list(lineup, {}, kHead));
  std::string notes;
  for (const Record& record : sections.at("PROJECT"))
    if (record[0] == "(PROJ_NOTES)") notes = record[1];
  EXPECT_NE(notes.find("Not in this list: keeper, =the _new_ mate"), std::string::npos) << notes;
}

TEST(DecisionList, TwoListsHaveTwoIdentitiesAndOneListHasOne) {
  const auto identity = [](const Lineup& lineup) {
    return value_of(read_list(decision_list(lineup, {}, kHead)), "VERSION", "(ADL_UID)");
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
  const auto cuts = cuts_of(read_list(stem_decision_list(sample_lineup(), stems, {}, kHead)));
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
