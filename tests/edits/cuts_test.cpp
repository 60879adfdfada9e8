#include "kilter/edits/cuts.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <sstream>

#include "random_lineup.h"
#include "sample_lineup.h"
#include "support/temporary_folder.h"

namespace kilter::edits {
namespace {

const std::string kGolden = std::string(KILTER_GOLDEN_FOLDER) + "/lighthouse.cuts.tsv";

using Row = std::vector<std::string>;

/// The table below the comments; its first row names the columns.
std::vector<Row> table_of(const std::string& text) {
  std::vector<Row> rows;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) {
    if (line.rfind('#', 0) == 0) continue;
    Row row;
    std::istringstream cells(line + '\t');
    for (std::string cell; std::getline(cells, cell, '\t');) row.push_back(cell);
    rows.push_back(row);
  }
  return rows;
}

std::string unescaped(const std::string& cell) {
  std::string text;
  for (std::size_t i = 0; i < cell.size(); ++i) {
    if (cell[i] != '\\') {
      text += cell[i];
      continue;
    }
    text += static_cast<char>(std::stoi(cell.substr(i + 2, 2), nullptr, 16));
    i += 3;
  }
  return text;
}

TEST(Cuts, LookAsTheyAlwaysDid) {
  const std::string text = cuts_text(sample_lineup(), {});
  if (std::getenv("KILTER_BLESS") != nullptr) test::write_text(kGolden, text);
  EXPECT_EQ(text, test::read_text(kGolden));
}

TEST(Cuts, HaveARowForEverySpanAndPart) {
  const auto rows = table_of(cuts_text(sample_lineup(), {}));
  // The keeper's first part ends inside the first span: two rows, and one for the second span.
  ASSERT_EQ(rows.size(), 5U);
  for (const Row& row : rows) EXPECT_EQ(row.size(), rows[0].size());
  EXPECT_EQ((Row{rows[1][1], rows[1][4], rows[1][5]}), (Row{"rec_0001.wav", "0", "4799999"}));
  EXPECT_EQ((Row{rows[2][1], rows[2][4], rows[2][5]}), (Row{"rec_0002.wav", "0", "971999"}));
  EXPECT_EQ((Row{rows[3][1], rows[3][4], rows[3][5]}), (Row{"rec_0002.wav", "972000", "2399999"}));
  EXPECT_EQ((Row{rows[4][1], rows[4][4], rows[4][5]}), (Row{"uploads/guest.flac", "0", "4409999"}));
}

TEST(Cuts, GiveThePlaceOfTheFirstAndTheLastFrameToAMillionthOfAFrame) {
  const Lineup lineup = sample_lineup();
  const auto rows = table_of(cuts_text(lineup, {}));
  for (std::size_t i = 1; i < rows.size(); ++i) {
    const LineupTrack& track = lineup.tracks[i < 4 ? 0 : 1];
    const std::int64_t part_first = rows[i][1] == "rec_0002.wav" ? 4800000 : 0;
    for (const std::size_t column : {4U, 5U}) {
      const auto frame = static_cast<double>(part_first + std::stoll(rows[i][column]));
      const double expected = *track.map->to_line(frame / track.rate_hz) * 48000.0;
      EXPECT_NEAR(std::stod(rows[i][column + 2]), expected, 1e-6) << i;
    }
  }
}

TEST(Cuts, SpeedUndoesTheDrift) {
  const auto rows = table_of(cuts_text(sample_lineup(), {}));
  EXPECT_NEAR((std::stod(rows[1][10]) - 1.0) * 1e6, 23.41, 1e-5);
  EXPECT_NEAR((std::stod(rows[4][10]) - 1.0) * 1e6, -87.5, 1e-5);
}

TEST(Cuts, StartReadsAsAClock) {
  const auto rows = table_of(cuts_text(sample_lineup(), {}));
  EXPECT_EQ(rows[1][8], "00:00:12.346");
  EXPECT_EQ(rows[4][8], "-00:00:03.250");
}

TEST(Cuts, TimecodeIsTheNearestLabel) {
  // -3.25 s are 81.25 frames before the start.
  EXPECT_EQ(table_of(cuts_text(sample_lineup(), {}))[4][9], "00:59:56:19");
  const RecordTime record{frame_rate_from_text("29.97df").value(), 107892, -3.25};
  EXPECT_EQ(table_of(cuts_text(sample_lineup(), record))[4][9], "01:00:00;00");
}

TEST(Cuts, PercentIsTheSpeed) {
  const auto rows = table_of(cuts_text(sample_lineup(), {}));
  for (std::size_t i = 1; i < rows.size(); ++i)
    EXPECT_NEAR(std::stod(rows[i][11]), 100.0 * std::stod(rows[i][10]), 1e-10);
}

// Without the program's own reader: spans of the rows alone, against the map that was written.
TEST(Cuts, RowsAloneTellTheMapToAThousandthOfAFrame) {
  std::size_t compared = 0;
  for (std::uint64_t seed = 0; seed < 100; ++seed) {
    const Lineup lineup = random_lineup(seed);
    for (const Row& row : table_of(cuts_text(lineup, {}))) {
      if (row[0] == "track") continue;
      for (const LineupTrack& track : lineup.tracks) {
        std::int64_t part_first = 0;
        for (const TrackPart& part : track.parts) {
          if (part.file == unescaped(row[1])) {
            const double first = std::stod(row[4]), last = std::stod(row[5]);
            for (const double share : {0.0, 0.3, 1.0}) {
              const double frame = std::floor(first + share * (last - first));
              const auto place =
                  track.map->to_line((frame + static_cast<double>(part_first)) / track.rate_hz);
              ASSERT_TRUE(place) << seed;
              const double told = std::stod(row[6]) + (frame - first) / track.rate_hz *
                                                          lineup.timeline_rate_hz /
                                                          std::stod(row[10]);
              EXPECT_NEAR(told, *place * lineup.timeline_rate_hz, 1e-3) << seed;
              ++compared;
            }
          }
          part_first += part.frames;
        }
      }
    }
  }
  EXPECT_GT(compared, 1000U);
}

TEST(Cuts, AnAbsurdRateEndsWithTheFile) {
  Lineup lineup = sample_lineup();
  LineupTrack& track = lineup.tracks[1];
  track.rate_hz = 1e300;
  const auto rows = table_of(cuts_text(lineup, {}));
  ASSERT_EQ(rows.size(), 5U);
  EXPECT_EQ(rows[4][5], std::to_string(track.parts[0].frames - 1));
}

TEST(Cuts, DifficultNamesSurviveInOneCell) {
  Lineup lineup = sample_lineup();
  const std::string name = "=the \"new\" mate\t\\ with\na lamp\r";
  lineup.tracks[1].name = name;
  lineup.tracks[1].parts[0].file = "#up\x01loads/-guest.flac";
  const std::string text = cuts_text(lineup, {});
  EXPECT_EQ(text.find('"'), std::string::npos);
  const auto rows = table_of(text);
  ASSERT_EQ(rows.size(), 5U);
  ASSERT_EQ(rows[4].size(), rows[0].size());
  EXPECT_EQ(unescaped(rows[4][0]), name);
  EXPECT_EQ(unescaped(rows[4][1]), "#up\x01loads/-guest.flac");
}

TEST(Cuts, TracksWithoutAPlaceAreNamedInAComment) {
  Lineup lineup = sample_lineup();
  lineup.tracks[1].role = Role::ignore;
  const std::string text = cuts_text(lineup, {});
  EXPECT_NE(text.find("# not placed: \\x3Dthe \\x22new"), std::string::npos);
  EXPECT_NE(text.find("# left out: guest from the far rock\n"), std::string::npos);
  EXPECT_EQ(table_of(text).size(), 4U);
}

TEST(Cuts, AMissingFolderIsAnErrorOfWriting) {
  const test::TemporaryFolder folder;
  const auto written = write_cuts(sample_lineup(), {}, folder / "missing/cuts.tsv");
  ASSERT_FALSE(written);
  EXPECT_EQ(written.error().kind, ErrorKind::cannot_write);
}

}  // namespace
}  // namespace kilter::edits
