// Batches over an archive of tiny sessions, some of them broken.
#include <gtest/gtest.h>

#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>
#include <sstream>

#include "archive.h"
#include "kilter/media/audio_file.h"
#include "run_kilter.h"
#include "simulator/session_files.h"
#include "simulator/simulator.h"
#include "small_show.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;
using Args = std::vector<std::string>;

/// Two sessions of 40 s, and between them a folder of noise, a wrong session.toml, a single file
/// and an empty folder. Made once, and conformed once; tests that spoil something work on copies.
class Batch : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    home_ = std::make_unique<test::TemporaryFolder>();
    for (const auto& [name, seed] : std::initializer_list<std::pair<const char*, std::uint64_t>>{
             {"season/hour-1", 1}, {"season/hour-2", 2}}) {
      const auto spec = simulator::hybrid_session(seed, 40.0, 2, 1);
      const auto session = simulator::simulate(spec, simulator::SyntheticVoices(seed), 2);
      ASSERT_TRUE(session) << session.error().what;
      ASSERT_TRUE(simulator::write_session(*session, archive() / name, {.bits = 16}));
    }
    fs::create_directories(archive() / "empty");
    for (const char* name : {"mixdown.wav", "keeper.wav"}) {
      fs::create_directories(archive() / "noise");
      test::write_text(archive() / "noise" / name, "this is no sound at all");
    }
    for (const char* name : {"single", "told"}) {
      fs::create_directories(archive() / name);
      fs::copy_file(archive() / "season/hour-1/mixdown.wav", archive() / name / "mixdown.wav");
    }
    test::write_text(archive() / "told" / "session.toml", "mix = [");
    first_ = batch(archive(), done(), {});
  }
  static void TearDownTestSuite() { home_.reset(); }

  static fs::path archive() { return *home_ / "shows"; }
  static fs::path done() { return *home_ / "done"; }

  static test::Told batch(const fs::path& archive, const fs::path& out, const Args& more) {
    Args args{"batch", archive.string(), "--out", out.string(), "--threads", "2"};
    args.insert(args.end(), more.begin(), more.end());
    return test::run_kilter(args);
  }
  /// Archive and results of their own.
  void copy_all() const {
    fs::copy(archive(), work_ / "shows", fs::copy_options::recursive);
    for (const auto& entry : fs::recursive_directory_iterator(archive()))
      fs::last_write_time(work_ / "shows" / fs::relative(entry.path(), archive()).string(),
                          entry.last_write_time());
    fs::copy(done(), work_ / "done", fs::copy_options::recursive);
  }
  test::Told again(const Args& more = {}) const {
    return batch(work_ / "shows", work_ / "done", more);
  }
  /// Why each session would be done, by --dry-run.
  std::map<std::string, std::string> reasons(const Args& more = {}) const {
    Args args = more;
    args.insert(args.end(), {"--dry-run", "--json"});
    std::map<std::string, std::string> reasons;
    const auto plan = nlohmann::json::parse(again(args).out);
    for (const auto& session : plan.at("sessions"))
      reasons[session.at("name").get<std::string>()] = session.at("why").get<std::string>();
    return reasons;
  }
  static std::vector<nlohmann::json> lines_of(const fs::path& log) {
    std::vector<nlohmann::json> lines;
    std::istringstream text(test::read_text(log));
    for (std::string line; std::getline(text, line);) lines.push_back(nlohmann::json::parse(line));
    return lines;
  }
  /// All results, each with a number that tells its content, but for what carries a date.
  static std::map<std::string, std::size_t> results_in(const fs::path& folder) {
    std::map<std::string, std::size_t> results;
    for (const auto& [name, text] : test::tree_of(folder))
      if (!name.ends_with(".adl") && name.find("batch.") == std::string::npos)
        results[name] = std::hash<std::string>()(text);
    return results;
  }

  static inline std::unique_ptr<test::TemporaryFolder> home_;
  static inline test::Told first_;
  test::TemporaryFolder work_;
};

using Reasons = std::map<std::string, std::string>;
const Reasons kOnlyFailed{{"noise", "failed before"}, {"told", "failed before"}};

TEST_F(Batch, DoesEverySessionAndTellsWhichFailed) {
  EXPECT_EQ(first_.exit, 1);
  for (const char* file :
       {"hour-1/lineup.json", "hour-1/stems/mixdown.wav", "hour-2/edits/cuts.tsv"})
    EXPECT_TRUE(fs::exists(done() / "season" / file)) << file;
  for (const char* folder : {"noise", "told", "single", "empty"})
    EXPECT_FALSE(fs::exists(done() / folder)) << folder;
  // The worst first.
  EXPECT_LT(first_.out.find("noise"), first_.out.find("season/hour-1"));
  EXPECT_LT(first_.out.find("told"), first_.out.find("season/hour-1"));
  EXPECT_NE(first_.out.find("4 sessions: "), std::string::npos) << first_.out;
  EXPECT_NE(first_.out.find("2 failed"), std::string::npos) << first_.out;
  EXPECT_NE(first_.err.find("session \"told\" failed: "), std::string::npos) << first_.err;
  EXPECT_NE(first_.err.find("session \"noise\" failed: "), std::string::npos) << first_.err;
  EXPECT_NE(first_.err.find("\"single\" holds a single audio file"), std::string::npos);
}

TEST_F(Batch, WritesALineForEachSession) {
  const auto lines = lines_of(done() / "batch.jsonl");
  ASSERT_EQ(lines.size(), 4U);
  EXPECT_EQ(lines[0].at("name"), "noise");
  EXPECT_EQ(lines[0].at("exit"), 3);
  EXPECT_EQ(lines[0].at("inputs").size(), 2U);
  EXPECT_EQ(lines[3].at("name"), "told");
  EXPECT_EQ(lines[3].at("exit"), 3);
  for (const int i : {1, 2}) {
    EXPECT_LE(lines[static_cast<std::size_t>(i)].at("exit"), 1);
    const auto& line = lines[static_cast<std::size_t>(i)];
    const auto& standings = line.at("standings");
    EXPECT_EQ(standings.at("firm").get<int>() + standings.at("shaky").get<int>() +
                  standings.at("unplaced").get<int>(),
              3);
    EXPECT_GT(line.at("worst_uncertainty_us"), 0.0);
    EXPECT_EQ(line.at("inputs").size(), 4U);
    EXPECT_GT(line.at("sound_s"), 120.0);
  }
}

TEST_F(Batch, MakesOfASessionWhatConformMakesOfIt) {
  const fs::path alone = work_ / "alone";
  const auto told = test::run_kilter({"conform", (archive() / "season/hour-2").string(), "--out",
                                      alone.string(), "--threads", "1"});
  EXPECT_EQ(told.exit, lines_of(done() / "batch.jsonl").at(2).at("exit"));
  EXPECT_EQ(results_in(alone), results_in(done() / "season" / "hour-2"));
}

TEST_F(Batch, RunAgainDoesOnlyWhatFailed) {
  copy_all();
  EXPECT_EQ(reasons(), kOnlyFailed);
  const auto before = results_in(work_ / "done");
  const auto time = fs::last_write_time(work_ / "done" / "season/hour-1/lineup.json");
  const test::Told told = again();
  EXPECT_EQ(told.exit, 1);
  EXPECT_NE(told.out.find("2 of them by an earlier run"), std::string::npos) << told.out;
  EXPECT_EQ(fs::last_write_time(work_ / "done" / "season/hour-1/lineup.json"), time);
  EXPECT_EQ(results_in(work_ / "done"), before);
  EXPECT_EQ(lines_of(work_ / "done" / "batch.jsonl").size(), 4U);
}

TEST_F(Batch, GoesByWhatIsInAFileWhereItsTimeHasChanged) {
  copy_all();
  const fs::path file = work_ / "shows/season/hour-1/mixdown.wav";
  fs::last_write_time(file, fs::file_time_type::clock::now());
  EXPECT_EQ(reasons(), kOnlyFailed);
  std::string bytes = test::read_text(file);
  bytes[bytes.size() / 2] = static_cast<char>(bytes[bytes.size() / 2] ^ 1);
  test::write_text(file, bytes);
  Reasons expected = kOnlyFailed;
  expected["season/hour-1"] = "changed";
  EXPECT_EQ(reasons(), expected);
}

TEST_F(Batch, DoesAgainWhatIsNoMoreWhatItWas) {
  copy_all();
  fs::copy_file(work_ / "shows/single/mixdown.wav", work_ / "shows/season/hour-1/more.wav");
  fs::remove(work_ / "done/season/hour-2/lineup.json");
  Reasons expected = kOnlyFailed;
  expected["season/hour-1"] = "changed";
  expected["season/hour-2"] = "result gone";
  EXPECT_EQ(reasons(), expected);
}

TEST_F(Batch, DoesAgainWhatIsWantedOtherwise) {
  copy_all();
  for (const Args& more : {Args{"--bits", "16"}, Args{"--limit-ms=2"}, Args{"--clock", "mix"}})
    EXPECT_EQ(reasons(more).at("season/hour-1"), "other options") << more.front();
  EXPECT_EQ(reasons({"--again"}).at("season/hour-1"), "again");
  // What changes no result.
  EXPECT_EQ(reasons({"--jobs", "2", "--quiet"}), kOnlyFailed);
}

TEST_F(Batch, LeavesNoneOfAKilledRunsPartsBehind) {
  copy_all();
  fs::create_directory(work_ / "done/season/hour-1/.conform.part");
  test::write_text(work_ / "done/season/hour-1/.conform.part/.conform", "");
  EXPECT_EQ(reasons().at("season/hour-1"), "result gone");
  EXPECT_LE(again().exit, 1);
  EXPECT_FALSE(fs::exists(work_ / "done/season/hour-1/.conform.part"));
  auto expected = results_in(done());
  auto results = results_in(work_ / "done");
  for (auto* each : {&expected, &results})  // whose command names the session's folder
    each->erase("season/hour-1/report.html");
  EXPECT_EQ(results, expected);
}

TEST_F(Batch, DoesAgainASessionWhoseNameIsNoUtf8) {
  const fs::path session = work_ / "shows" / "ph\xe9no";
  fs::create_directories(work_ / "shows");
  std::error_code refused;  // by file systems that hold no such names
  fs::copy(archive() / "season/hour-1", session, refused);
  if (refused) GTEST_SKIP() << refused.message();
  ASSERT_LE(again().exit, 1);
  const auto results = results_in(work_ / "done");
  EXPECT_LE(again({"--again"}).exit, 1);
  EXPECT_LE(lines_of(work_ / "done/batch.jsonl").at(0).at("exit"), 1);
  EXPECT_EQ(results_in(work_ / "done"), results);
}

TEST_F(Batch, TwoAtATimeGiveTheSame) {
  const test::Told told = batch(archive(), work_ / "done", {"--jobs", "2"});
  EXPECT_EQ(told.exit, 1);
  EXPECT_EQ(results_in(work_ / "done"), results_in(done()));
}

TEST_F(Batch, PartsTogetherMakeTheWhole) {
  // Two sessions need not fall into both halves: as many parts as it takes.
  int parts = 2;
  while (commands::part_of("season/hour-1", parts) == commands::part_of("season/hour-2", parts))
    ++parts;
  std::string last;
  for (int part = 1; part <= parts; ++part) {
    const test::Told halfway = batch(archive(), work_ / "done", {"--merge"});
    EXPECT_EQ(halfway.exit, 1);
    EXPECT_NE(halfway.out.find("not done"), std::string::npos) << halfway.out;
    last = std::to_string(part) + '/' + std::to_string(parts);
    EXPECT_LE(batch(archive(), work_ / "done", {"--only", last}).exit, 1);
  }
  EXPECT_EQ(results_in(work_ / "done"), results_in(done()));
  const fs::path junit = work_ / "batch.xml";
  const test::Told merged =
      batch(archive(), work_ / "done", {"--merge", "--junit", junit.string()});
  EXPECT_EQ(merged.exit, 1);
  EXPECT_NE(merged.out.find("4 sessions: "), std::string::npos) << merged.out;
  EXPECT_EQ(merged.out.find("not done"), std::string::npos) << merged.out;
  const std::string xml = test::read_text(junit);
  EXPECT_NE(xml.find("tests=\"4\""), std::string::npos) << xml;
  EXPECT_NE(xml.find("errors=\"2\""), std::string::npos) << xml;
  for (const char* name : {"noise", "told", "season/hour-1", "season/hour-2"})
    EXPECT_NE(xml.find("name=\"" + std::string(name) + '"'), std::string::npos) << name;
  // A run over all then has only to try again what failed.
  const auto plan =
      nlohmann::json::parse(batch(archive(), work_ / "done", {"--dry-run", "--json"}).out);
  EXPECT_EQ(plan.at("sessions").size(), 2U);
}

TEST_F(Batch, ListsTheSessionsAndThoseOfEachPart) {
  const std::string all = test::run_kilter({"batch", archive().string(), "--list"}).out;
  EXPECT_EQ(all, "noise\nseason/hour-1\nseason/hour-2\ntold\n");
  std::size_t length = 0;
  for (const char* part : {"1/3", "2/3", "3/3"})
    length += test::run_kilter({"batch", archive().string(), "--list", "--only", part}).out.size();
  EXPECT_EQ(length, all.size());
}

TEST_F(Batch, TellsWhatItWouldDoAndDoesNothing) {
  const test::Told told = batch(archive(), work_ / "none", {"--dry-run"});
  EXPECT_EQ(told.exit, 0);
  EXPECT_NE(told.out.find("4 of 4 sessions to do, 0 done already."), std::string::npos) << told.out;
  EXPECT_NE(told.out.find("Time   about "), std::string::npos) << told.out;
  EXPECT_FALSE(fs::exists(work_ / "none"));
  // As large as it says: what it tells beforehand is for all channels, which here have stems.
  const auto plan =
      nlohmann::json::parse(batch(archive(), work_ / "none", {"--dry-run", "--json"}).out);
  double stems = 0.0;
  for (const auto& entry : fs::recursive_directory_iterator(done()))
    if (entry.path().parent_path().filename() == "stems")
      stems += static_cast<double>(entry.file_size());
  EXPECT_NEAR(plan.at("stems_bytes").get<double>() / stems, 1.0, 0.01);
}

TEST_F(Batch, AlignsOnly) {
  const test::Told told = batch(archive(), work_ / "lineups", {"--align-only"});
  EXPECT_EQ(told.exit, 1);
  EXPECT_EQ(test::names_below(work_ / "lineups"),
            (std::set<std::string>{".batch.lock", "batch.align.jsonl", "season",
                                   "season/hour-1.lineup.json", "season/hour-2.lineup.json"}));
  const auto lines = lines_of(work_ / "lineups" / "batch.align.jsonl");
  ASSERT_EQ(lines.size(), 4U);
  EXPECT_EQ(lines[1].at("standings"), lines_of(done() / "batch.jsonl").at(1).at("standings"));
}

TEST_F(Batch, ChecksStemsAgain) {
  copy_all();
  const test::Told told = again({"--check-only", "--limit-ms", "100"});
  EXPECT_EQ(told.exit, 1);
  const auto lines = lines_of(work_ / "done" / "batch.check.jsonl");
  ASSERT_EQ(lines.size(), 4U);
  EXPECT_EQ(lines[0].at("exit"), 3);  // there are no stems
  EXPECT_LE(lines[1].at("exit"), 1);
  int stems = 0;
  for (const auto& [verdict, count] : lines[1].at("standings").items()) stems += count.get<int>();
  EXPECT_EQ(stems, 3);
  // The stems' own records stay.
  EXPECT_EQ(reasons(), kOnlyFailed);
}

TEST_F(Batch, ChecksStemsAgainAndLetsSilencePassWhereAllowed) {
  auto spec = simulator::hybrid_session(3, 40.0, 2, 1);
  for (auto& recorder : spec.recorders) recorder.start_s = -2.0;  // nobody is missed
  const auto session = simulator::simulate(spec, simulator::SyntheticVoices(3), 2);
  ASSERT_TRUE(session && simulator::write_session(*session, work_ / "shows/calm", {.bits = 16}));
  ASSERT_EQ(again().exit, 0);
  const fs::path stems = work_ / "done/calm/stems";
  const auto mix = media::open_audio(stems / "mixdown.wav");
  ASSERT_TRUE(mix);
  test::write_sound(stems / "foghorn.wav",
                    {test::Samples(static_cast<std::size_t>(mix->info.claimed_length.n), 0.0F)},
                    48000);
  EXPECT_EQ(again({"--check-only"}).exit, 1);
  EXPECT_EQ(again({"--check-only", "--allow-silent"}).exit, 0);
  // It writes no stem otherwise.
  EXPECT_NE(again({"--allow-silent"}).out.find("1 of them by an earlier run"), std::string::npos);
}

TEST_F(Batch, TakesTheResultOfNoOtherArchivesSession) {
  copy_all();
  fs::create_directories(work_ / "other/season");
  fs::copy(archive() / "season/hour-2", work_ / "other/season/hour-1", fs::copy_options::recursive);
  const fs::path lineup = work_ / "done/season/hour-1/lineup.json";
  const std::string before = test::read_text(lineup);
  const test::Told refused = batch(work_ / "other", work_ / "done", {});
  EXPECT_EQ(refused.exit, 2);
  EXPECT_NE(refused.err.find("\"season/hour-1\" of another archive"), std::string::npos)
      << refused.err;
  EXPECT_EQ(batch(work_ / "other", work_ / "done", {"--dry-run"}).exit, 2);
  EXPECT_EQ(test::read_text(lineup), before);
  // The same sessions elsewhere are no others.
  EXPECT_EQ(reasons(), kOnlyFailed);
  EXPECT_LE(batch(work_ / "other", work_ / "done", {"--replace"}).exit, 1);
  EXPECT_NE(test::read_text(lineup), before);
}

TEST_F(Batch, TellsAllOfItInOneDocument) {
  copy_all();
  const auto document = nlohmann::json::parse(again({"--json"}).out);
  EXPECT_EQ(document.at("kind"), "kilter batch");
  ASSERT_EQ(document.at("sessions").size(), 4U);
  EXPECT_EQ(document.at("counts").at("failed"), 2);
  EXPECT_EQ(document.at("counts").at("done before"), 2);
}

TEST_F(Batch, InterruptedLeavesNoRecordOfWhatItDidNotEnd) {
  const test::Told told = test::run_kilter(
      {"batch", archive().string(), "--out", (work_ / "done").string()}, false, true);
  EXPECT_EQ(told.exit, 130);
  EXPECT_EQ(told.out, "");
  EXPECT_EQ(test::read_text(work_ / "done" / "batch.jsonl"), "");
}

TEST_F(Batch, RefusesAFolderWithOtherFiles) {
  fs::create_directory(work_ / "mine");
  test::write_text(work_ / "mine" / "diary.txt", "storm");
  EXPECT_EQ(batch(archive(), work_ / "mine", {}).exit, 2);
  EXPECT_EQ(test::names_below(work_ / "mine"), std::set<std::string>{"diary.txt"});
}

TEST_F(Batch, WritesNothingIntoASessionsFolder) {
  copy_all();
  const auto before = test::names_below(work_ / "shows");
  const fs::path session = work_ / "shows" / "season" / "hour-1";
  EXPECT_EQ(batch(work_ / "shows", session / "done", {}).exit, 2);
  EXPECT_EQ(again({"--junit", (session / "batch.xml").string()}).exit, 2);
  EXPECT_EQ(test::names_below(work_ / "shows"), before);
}

TEST_F(Batch, ChecksNoFolderThatIsNotThere) {
  EXPECT_EQ(batch(archive(), work_ / "none", {"--check-only"}).exit, 3);
  EXPECT_FALSE(fs::exists(work_ / "none"));
}

TEST_F(Batch, RefusesCommandLinesThatMeanNothing) {
  const std::string shows = archive().string();
  const std::string out = (work_ / "none").string();
  for (const Args& args :
       {Args{"batch", shows}, Args{"batch", shows, "--out", out, "--only", "0/2"},
        Args{"batch", shows, "--out", out, "--only", "3/2"},
        Args{"batch", shows, "--out", out, "--only", "half"},
        Args{"batch", shows, "--out", out, "--jobs", "0"},
        Args{"batch", shows, "--out", out, "--align-only", "--check-only"},
        Args{"batch", shows, "--out", out, "--list", "--dry-run"},
        Args{"batch", shows, shows, "--out", out},
        Args{"batch", shows, "--out", out, "--lineup", "x.json"}})
    EXPECT_EQ(test::run_kilter(args).exit, 2) << args.back();
  EXPECT_EQ(test::run_kilter({"batch", (archive() / "empty").string(), "--out", out}).exit, 3);
  EXPECT_FALSE(fs::exists(out));
}

}  // namespace
}  // namespace kilter
