#include "kilter/edits/edit_files.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "sample_lineup.h"
#include "support/temporary_folder.h"

namespace kilter::edits {
namespace {

namespace fs = std::filesystem;

EditFilesPlan plan_for(const Lineup& lineup) {
  EditFilesPlan plan;
  plan.name = "hour";
  for (const LineupTrack& track : lineup.tracks)
    if (track.is_used()) plan.track_names.push_back(track.name);
  plan.stems = {{{"keeper", "keeper.wav"}}, 48000.0, 480000};
  plan.session_folder = "/shows/hour";
  plan.stems_folder = "/results/hour/stems";
  plan.created = "2026-11-24T21:58:00Z";
  return plan;
}

/// Tracks of one file of 2000 s each.
Lineup lineup_of(int tracks) {
  Lineup lineup = sample_lineup();
  LineupTrack track = lineup.tracks[0];
  track.parts = {{"rec_0001.wav", 1, 96000000}};
  track.map = *TimeMap::line(0.0, 0.0, 2000.0, 1.0);
  lineup.tracks.clear();
  for (int i = 0; i < tracks; ++i) {
    track.name = "mic-" + std::to_string(i + 1);
    lineup.tracks.push_back(track);
  }
  return lineup;
}

std::vector<std::string> names_of(const std::vector<fs::path>& files) {
  std::vector<std::string> names;
  for (const fs::path& file : files) names.push_back(file.generic_string());
  std::sort(names.begin(), names.end());
  return names;
}

/// What is written, what is said to be written, and what is known again must be the same.
std::vector<std::string> written(const Lineup& lineup, const EditFilesPlan& plan) {
  const test::TemporaryFolder home;
  const auto files = write_edit_files(lineup, plan, home / "edits");
  EXPECT_TRUE(files) << files.error().what;
  if (!files) return {};
  std::vector<fs::path> there;
  for (const auto& entry : fs::recursive_directory_iterator(home / "edits"))
    if (entry.is_regular_file()) there.push_back(fs::relative(entry.path(), home / "edits"));
  EXPECT_EQ(names_of(*files), names_of(there));
  EXPECT_EQ(names_of(edit_files_in(home / "edits", plan.name, plan.track_names)), names_of(there));
  return names_of(there);
}

using Names = std::vector<std::string>;

TEST(EditFiles, TwoTracksNeedNoListsOfTheirOwn) {
  EXPECT_EQ(written(sample_lineup(), plan_for(sample_lineup())),
            (Names{"cuts.tsv", "hour-stems.adl", "hour-stems.edl", "hour.adl", "hour.edl"}));
}

TEST(EditFiles, MoreTracksHaveAListEach) {
  const Lineup lineup = lineup_of(3);
  EXPECT_EQ(written(lineup, plan_for(lineup)),
            (Names{"by-track/mic-1.edl", "by-track/mic-2.edl", "by-track/mic-3.edl", "cuts.tsv",
                   "hour-stems.adl", "hour-stems.edl", "hour.adl", "hour.edl"}));
}

TEST(EditFiles, StemsAtARateWithoutANameHaveNoDecisionList) {
  EditFilesPlan plan = plan_for(sample_lineup());
  plan.stems.rate_hz = 32000.0;
  EXPECT_EQ(written(sample_lineup(), plan),
            (Names{"cuts.tsv", "hour-stems.edl", "hour.adl", "hour.edl"}));
}

TEST(EditFiles, LongListsGoOnInFurtherFiles) {
  Lineup lineup = lineup_of(3);
  std::vector<Span> spans;
  for (int i = 0; i < 1000; ++i)
    spans.push_back({2.0 * i, 2.0 * i + 1.0, 2.0 * i, 2.0 * i + 1.0, 1.0});
  lineup.tracks[1].map = *TimeMap::make(spans);
  // A track may be called as a list that goes on would be, were it beside the others.
  lineup.tracks[2].name = "mic-2-2";
  EXPECT_EQ(written(lineup, plan_for(lineup)),
            (Names{"by-track/2/mic-2.edl", "by-track/mic-1.edl", "by-track/mic-2-2.edl",
                   "by-track/mic-2.edl", "cuts.tsv", "hour-2.edl", "hour-stems.adl",
                   "hour-stems.edl", "hour.adl", "hour.edl"}));
}

TEST(EditFiles, AFolderThatCannotBeMadeIsAnErrorOfWriting) {
  const test::TemporaryFolder home;
  test::write_text(home / "edits", "a file");
  const auto files = write_edit_files(sample_lineup(), plan_for(sample_lineup()), home / "edits");
  ASSERT_FALSE(files);
  EXPECT_EQ(files.error().kind, ErrorKind::cannot_write);
  EXPECT_FALSE(files.error().next_step.empty());
}

}  // namespace
}  // namespace kilter::edits
