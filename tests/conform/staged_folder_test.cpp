#include "kilter/conform/staged_folder.h"

#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "kilter/base/file_calls.h"
#include "kilter/edits/lineup_file.h"
#include "kilter/signal/sample_digest.h"
#include "support/reads_that_fail.h"
#include "support/replaced_file_calls.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::conform {
namespace {

namespace fs = std::filesystem;

/// Everything below a folder, sorted, with its text.
std::vector<std::string> tree_of(const fs::path& folder) {
  std::vector<std::string> tree;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    const std::string name = fs::relative(entry.path(), folder).string();
    tree.push_back(entry.is_directory() ? name + '/' : name + '=' + test::read_text(entry.path()));
  }
  std::sort(tree.begin(), tree.end());
  return tree;
}

using Tree = std::vector<std::string>;

/// A lineup as text, `title` for its session.
std::string lineup_text(const std::string& title, const std::vector<std::string>& tracks) {
  Lineup lineup;
  lineup.session = title;
  lineup.timeline_rate_hz = 48000.0;
  for (const std::string& name : tracks) {
    LineupTrack track;
    track.name = name;
    track.parts = {{name + ".wav", 1, 48000}};
    track.rate_hz = 48000.0;
    track.standing = Standing::firm;
    track.map = *TimeMap::line(0.0, 0.0, 1.0, 1.0);
    lineup.tracks.push_back(track);
  }
  return edits::to_text(lineup);
}

/// What conform would write, `text` in every file and in the lineup's title.
void write_result(const fs::path& folder, const std::string& text,
                  const std::vector<std::string>& tracks = {"keeper"}) {
  fs::create_directory(folder / "stems");
  fs::create_directory(folder / "edits");
  for (const std::string& name : tracks) test::write_text(folder / "stems" / (name + ".wav"), text);
  test::write_text(folder / "edits/cuts.tsv", text);
  test::write_text(folder / "lineup.json", lineup_text(text, tracks));
}

/// A result whose stem is sound, of which the lineup keeps the digest.
void write_result_in_sound(const fs::path& folder, std::uint32_t seed) {
  write_result(folder, "old");
  const auto sound = test::noise(1000, 0.5F, seed);
  test::write_sound(folder / "stems/keeper.wav", {sound}, 48000);
  auto lineup = *edits::read_lineup(folder / "lineup.json");
  SampleDigest digest;
  digest.process(sound);
  lineup.stems = {{"keeper.wav", digest.value()}};
  ASSERT_TRUE(edits::write_lineup(lineup, folder / "lineup.json"));
}

const std::string kNewLineup = "lineup.json=" + lineup_text("new", {"keeper"});
const Tree kNewResult{"edits/", "edits/cuts.tsv=new", kNewLineup, "stems/", "stems/keeper.wav=new"};

/// Ends this process without a chance to tidy up.
void die() { ::kill(::getpid(), SIGKILL); }

/// Runs `work` in a process of its own, in which it has to die: with what it holds still held.
template <typename Work>
void run_and_kill(const Work& work) {
  const pid_t child = ::fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    work();
    ::_exit(1);
  }
  int status = 0;
  ASSERT_EQ(::waitpid(child, &status, 0), child);
  ASSERT_TRUE(WIFSIGNALED(status));
}

/// Ends the process before one of its renames, or of its removals as well.
class DyingCalls : public FileCalls {
 public:
  explicit DyingCalls(int left, bool counts_removals = false)
      : left_(left), counts_removals_(counts_removals) {}
  int rename(const char* from, const char* to) override {
    count();
    return FileCalls::rename(from, to);
  }
  int remove(const char* path) override {
    if (counts_removals_) count();
    return FileCalls::remove(path);
  }

 private:
  void count() {
    if (left_-- == 0) die();
  }

  int left_;
  bool counts_removals_;
};

/// A run that puts a new result into `dir` and dies amid that, as `Calls` make it, or at its end.
template <typename Calls, typename... Arguments>
void kill_in_commit(const fs::path& dir, Arguments... arguments) {
  run_and_kill([&] {
    auto staged = StagedFolder::make(dir, true);
    write_result(staged->path(), "new");
    Calls calls(arguments...);
    replace_file_calls(&calls);
    (void)staged->commit();
    die();
  });
}

/// With a lineup there, it and all it names are of one kind.
bool is_whole_or_unlisted(const fs::path& dir) {
  if (!fs::exists(dir / "lineup.json")) return true;
  const std::string lineup = test::read_text(dir / "lineup.json");
  const std::string kind = test::read_text(dir / "edits/cuts.tsv");
  return lineup.find('"' + kind + '"') != std::string::npos &&
         test::read_text(dir / "stems/keeper.wav") == kind &&
         fs::exists(dir / "stems/mate.wav") == (lineup.find("mate.wav") != std::string::npos);
}

TEST(StagedFolder, AppearsWholeInCommit) {
  const test::TemporaryFolder home;
  auto staged = StagedFolder::make(home / "out", false);
  ASSERT_TRUE(staged) << staged.error().what;
  write_result(staged->path(), "new");
  EXPECT_FALSE(fs::exists(home / "out"));
  ASSERT_TRUE(staged->commit());
  EXPECT_EQ(tree_of(home / "out"), kNewResult);
  EXPECT_EQ(std::distance(fs::directory_iterator(home.path()), {}), 1);
}

TEST(StagedFolder, LeavesNothingWithoutCommit) {
  const test::TemporaryFolder home;
  {
    auto staged = StagedFolder::make(home / "shelf/hour 12/out/", false);
    ASSERT_TRUE(staged) << staged.error().what;
    write_result(staged->path(), "new");
    const StagedFolder moved = *std::move(staged);
  }
  EXPECT_EQ(tree_of(home.path()), Tree{});
}

TEST(StagedFolder, MakesMissingParents) {
  const test::TemporaryFolder home;
  auto staged = StagedFolder::make(home / "shelf/hour 12/out", false);
  ASSERT_TRUE(staged) << staged.error().what;
  write_result(staged->path(), "new");
  ASSERT_TRUE(staged->commit());
  EXPECT_EQ(tree_of(home / "shelf/hour 12/out"), kNewResult);
}

TEST(StagedFolder, FillsAnEmptyFolderWithoutReplacingIt) {
  const test::TemporaryFolder home;
  fs::create_directory(home / "out");
  test::write_text(home / "out/.view", "hidden");
  fs::create_directory_symlink(home / "out", home / "link");
  auto staged = StagedFolder::make(home / "link", false);
  ASSERT_TRUE(staged) << staged.error().what;
  write_result(staged->path(), "new");
  ASSERT_TRUE(staged->commit());
  EXPECT_EQ(tree_of(home / "out"), (Tree{".view=hidden", "edits/", "edits/cuts.tsv=new", kNewLineup,
                                         "stems/", "stems/keeper.wav=new"}));
  EXPECT_TRUE(fs::is_symlink(home / "link"));
}

TEST(StagedFolder, AnEmptyFolderIsEmptyAgainWithoutCommit) {
  const test::TemporaryFolder home;
  fs::create_directory(home / "out");
  {
    auto staged = StagedFolder::make(home / "out", false);
    ASSERT_TRUE(staged);
    write_result(staged->path(), "new");
  }
  EXPECT_EQ(tree_of(home.path()), Tree{"out/"});
}

TEST(StagedFolder, RefusesAFolderThatHoldsFiles) {
  const test::TemporaryFolder home;
  fs::create_directory(home / "out");
  write_result(home / "out", "old");
  const auto staged = StagedFolder::make(home / "out", false);
  ASSERT_FALSE(staged);
  EXPECT_EQ(staged.error().kind, ErrorKind::bad_command);
  EXPECT_EQ(staged.error().what, "the folder already holds files");
}

TEST(StagedFolder, ReplacesAnEarlierResultAndKeepsWhatElseLiesThere) {
  const test::TemporaryFolder home;
  fs::create_directory(home / "out");
  write_result(home / "out", "old", {"keeper", "gone"});
  test::write_text(home / "out/stems/mine.wav", "mine");
  test::write_text(home / "out/edits/mine.tsv", "mine");
  test::write_text(home / "out/notes.txt", "mine");
  {
    auto staged = StagedFolder::make(home / "out", true);
    ASSERT_TRUE(staged) << staged.error().what;
    write_result(staged->path(), "new");
    ASSERT_TRUE(staged->commit());
  }
  EXPECT_EQ(tree_of(home / "out"),
            (Tree{"edits/", "edits/cuts.tsv=new", "edits/mine.tsv=mine", kNewLineup,
                  "notes.txt=mine", "stems/", "stems/keeper.wav=new", "stems/mine.wav=mine"}));
}

TEST(StagedFolder, ReplacesTheListsOfAnEarlierResultWhateverItWasCalled) {
  const test::TemporaryFolder home;
  fs::create_directories(home / "out/edits/by-track/2");
  write_result(home / "out", "old");
  for (const char* name : {"old.edl", "old-2.edl", "old-stems.edl", "old.adl", "old-stems.adl",
                           "by-track/keeper.edl", "by-track/2/keeper.edl", "mine.edl", "older.edl"})
    test::write_text(home / "out/edits" / name, "old");
  {
    auto staged = StagedFolder::make(home / "out", true);
    ASSERT_TRUE(staged) << staged.error().what;
    write_result(staged->path(), "new");
    test::write_text(staged->path() / "edits/new.edl", "new");
    ASSERT_TRUE(staged->commit());
  }
  EXPECT_EQ(tree_of(home / "out"),
            (Tree{"edits/", "edits/cuts.tsv=new", "edits/mine.edl=old", "edits/new.edl=new",
                  "edits/older.edl=old", kNewLineup, "stems/", "stems/keeper.wav=new"}));
}

TEST(StagedFolder, NeverReplacesAFileOfAnotherUnderTheNameOfANewOne) {
  const test::TemporaryFolder home;
  const fs::path dir = home / "out";
  fs::create_directory(dir);
  write_result(dir, "old");
  test::write_text(dir / "stems" / "mate.wav", "my own");
  const Tree before = tree_of(dir);
  {
    auto staged = StagedFolder::make(dir, true);
    ASSERT_TRUE(staged);
    write_result(staged->path(), "new", {"keeper", "mate"});
    const auto committed = staged->commit();
    ASSERT_FALSE(committed);
    EXPECT_EQ(committed.error().kind, ErrorKind::bad_command);
    EXPECT_EQ(committed.error().file.filename(), "mate.wav");
  }
  EXPECT_EQ(tree_of(dir), before);
}

TEST(StagedFolder, AFileThatDiffersInCaseOnlyIsTheEarlierResultsWhereTheDiskHasOneForBoth) {
  const test::TemporaryFolder home;
  test::write_text(home / "Case", "");
  const bool one_for_both = fs::exists(home / "case");
  const fs::path dir = home / "out";
  fs::create_directory(dir);
  write_result(dir, "old", {"Keeper"});
  if (!one_for_both) test::write_text(dir / "stems/keeper.wav", "mine");
  for (const bool both : {true, false}) {
    if (!both && !one_for_both) fs::remove(dir / "stems/Keeper.wav");
    auto staged = StagedFolder::make(dir, true);
    ASSERT_TRUE(staged);
    write_result(staged->path(), "new", {"keeper"});
    const auto committed = staged->commit();
    ASSERT_EQ(static_cast<bool>(committed), one_for_both);
    if (one_for_both) continue;
    EXPECT_EQ(committed.error().file.filename(), "keeper.wav");
    EXPECT_EQ(test::read_text(dir / "stems/keeper.wav"), "mine");
  }
}

TEST(StagedFolder, ReplacesTheReportOfAnEarlierResultAndNoOtherFileOfThatName) {
  const std::string ours = "<!DOCTYPE html>\n<meta name=\"generator\" content=\"kilter 0.1.0\">old";
  for (const bool is_ours : {true, false}) {
    const test::TemporaryFolder home;
    const fs::path dir = home / "out";
    fs::create_directory(dir);
    write_result(dir, "old");
    test::write_text(dir / "report.html", is_ours ? ours : "<!DOCTYPE html>\nmine");
    auto staged = StagedFolder::make(dir, true);
    ASSERT_TRUE(staged);
    write_result(staged->path(), "new");
    test::write_text(staged->path() / "report.html", "new");
    const auto committed = staged->commit();
    EXPECT_EQ(static_cast<bool>(committed), is_ours);
    if (is_ours)
      EXPECT_EQ(test::read_text(dir / "report.html"), "new");
    else
      EXPECT_EQ(committed.error().file.filename(), "report.html");
  }
}

TEST(StagedFolder, ReplacesAStemThatIsStillWhatWasWritten) {
  const test::TemporaryFolder home;
  const fs::path dir = home / "out";
  fs::create_directory(dir);
  write_result_in_sound(dir, 1);
  {
    auto staged = StagedFolder::make(dir, true);
    ASSERT_TRUE(staged) << staged.error().what;
    write_result(staged->path(), "new");
    ASSERT_TRUE(staged->commit());
  }
  EXPECT_EQ(tree_of(dir), kNewResult);
}

TEST(StagedFolder, NeverReplacesAStemThatIsNoLongerWhatWasWritten) {
  for (const std::string how : {"edited", "shortened", "no sound", "a folder"}) {
    const test::TemporaryFolder home;
    const fs::path dir = home / "out";
    fs::create_directory(dir);
    write_result_in_sound(dir, 1);
    const fs::path stem = dir / "stems/keeper.wav";
    if (how == "edited") test::write_sound(stem, {test::noise(1000, 0.5F, 2)}, 48000);
    if (how == "shortened") test::write_sound(stem, {test::noise(999, 0.5F, 1)}, 48000);
    if (how == "no sound") test::write_text(stem, "my own notes");
    if (how == "a folder") {
      fs::remove(stem);
      fs::create_directory(stem);
    }
    const Tree before = tree_of(home.path());
    const auto staged = StagedFolder::make(dir, true);
    ASSERT_FALSE(staged) << how;
    EXPECT_EQ(staged.error().kind,
              how == "no sound" ? ErrorKind::unreadable : ErrorKind::bad_command);
    EXPECT_EQ(staged.error().file, stem) << how;
    EXPECT_NE(staged.error().what.find("the stem that was written there"), std::string::npos)
        << staged.error().what;
    EXPECT_EQ(tree_of(home.path()), before) << how;
  }
}

TEST(StagedFolder, NeverReplacesATableOfCutsThatChangedWhileTheNewResultWasMade) {
  const test::TemporaryFolder home;
  const fs::path dir = home / "out";
  fs::create_directory(dir);
  write_result(dir, "old");
  auto staged = StagedFolder::make(dir, true);
  ASSERT_TRUE(staged) << staged.error().what;
  test::write_text(dir / "edits/cuts.tsv", "changed by hand");
  write_result(staged->path(), "new");
  const auto placed = staged->commit();
  ASSERT_FALSE(placed);
  EXPECT_EQ(placed.error().what, "it is no longer the table that was written there");
  EXPECT_EQ(test::read_text(dir / "edits/cuts.tsv"), "changed by hand");
}

TEST(StagedFolder, NeverReplacesAStemThatChangedWhileTheNewResultWasMade) {
  for (const bool was_there : {true, false}) {
    const test::TemporaryFolder home;
    const fs::path dir = home / "out";
    fs::create_directory(dir);
    write_result_in_sound(dir, 1);
    const fs::path stem = dir / "stems/keeper.wav";
    if (!was_there) fs::remove(stem);
    Tree before;
    {
      auto staged = StagedFolder::make(dir, true);
      ASSERT_TRUE(staged) << staged.error().what;
      write_result(staged->path(), "new");
      test::write_sound(stem, {test::noise(1001, 0.5F, 2)}, 48000);
      before = tree_of(dir / "stems");
      const auto committed = staged->commit();
      ASSERT_FALSE(committed);
      EXPECT_EQ(committed.error().kind, ErrorKind::bad_command);
      EXPECT_EQ(committed.error().file.filename(), "keeper.wav");
    }
    EXPECT_EQ(tree_of(dir / "stems"), before);
    EXPECT_FALSE(fs::exists(dir / ".conform.part"));
  }
}

TEST(StagedFolder, NeverReplacesWhatTheDiskDoesNotGiveToLookAt) {
  const test::TemporaryFolder home;
  const fs::path dir = home / "out";
  fs::create_directory(dir);
  write_result_in_sound(dir, 1);
  test::write_text(dir / "report.html", "<meta name=\"generator\" content=\"kilter 0.1.0\">");
  const Tree before = tree_of(home.path());
  int failing = 1;
  int refused = 0;
  for (;; ++failing) {
    test::ReadsThatFail calls(failing);
    const test::ReplacedFileCalls replaced(calls);
    const auto staged = StagedFolder::make(dir, true);
    if (calls.calls() < failing) break;
    if (staged) continue;  // what was asked a second time
    ++refused;
    EXPECT_EQ(staged.error().kind, ErrorKind::unreadable) << failing;
    EXPECT_NE(staged.error().what.find("Input/output error"), std::string::npos)
        << failing << staged.error().what;
    EXPECT_EQ(tree_of(home.path()), before) << failing;
  }
  EXPECT_GT(refused, 10);
}

TEST(StagedFolder, PutsNothingBackWhereTheDiskDoesNotTellWhat) {
  const test::TemporaryFolder home;
  const fs::path dir = home / "out";
  fs::create_directory(dir);
  write_result(dir, "old");
  const Tree before = tree_of(dir);
  kill_in_commit<DyingCalls>(dir, 6);  // amid what comes in
  const Tree half = tree_of(dir);
  ASSERT_NE(half, before);
  for (const int failing : {1, 2}) {
    test::ReadsThatFail calls(failing);
    const test::ReplacedFileCalls replaced(calls);
    const auto staged = StagedFolder::make(dir, true);
    ASSERT_FALSE(staged);
    EXPECT_EQ(staged.error().kind, ErrorKind::unreadable);
    EXPECT_EQ(tree_of(dir), half);
  }
  { EXPECT_TRUE(StagedFolder::make(dir, true)); }
  EXPECT_EQ(tree_of(dir), before);
}

TEST(StagedFolder, AMarkThatLeadsElsewhereIsNoStem) {
  const test::TemporaryFolder home;
  const fs::path dir = home / "out";
  fs::create_directory(dir);
  write_result(dir, "old");
  auto lineup = *edits::read_lineup(dir / "lineup.json");
  for (const char* name : {"../notes.txt", "..", "", "/etc/hostname"})
    lineup.stems.push_back({name, 0});
  ASSERT_TRUE(edits::write_lineup(lineup, dir / "lineup.json"));
  test::write_text(dir / "notes.txt", "mine");
  fs::remove(dir / "stems/keeper.wav");
  {
    auto staged = StagedFolder::make(dir, true);
    ASSERT_TRUE(staged) << staged.error().what;
    write_result(staged->path(), "new");
    ASSERT_TRUE(staged->commit());
  }
  EXPECT_EQ(test::read_text(dir / "notes.txt"), "mine");
}

TEST(StagedFolder, KeepsTheEarlierResultWithoutCommit) {
  const test::TemporaryFolder home;
  fs::create_directory(home / "out");
  write_result(home / "out", "old");
  const Tree before = tree_of(home.path());
  {
    auto staged = StagedFolder::make(home / "out", true);
    ASSERT_TRUE(staged);
    write_result(staged->path(), "new");
  }
  EXPECT_EQ(tree_of(home.path()), before);
}

TEST(StagedFolder, NeverReplacesWhatIsNoEarlierResult) {
  const std::string lineup = lineup_text("mine", {"keeper"});
  const std::vector<std::vector<std::pair<const char*, std::string>>> folders{
      {},
      {{"lineup.json", lineup}},
      {{"edits/cuts.tsv", "mine"}},
      {{"lineup.json", "the keepers, from left to right"}, {"edits/cuts.tsv", "mine"}}};
  for (const auto& files : folders) {
    const test::TemporaryFolder home;
    fs::create_directories(home / "out/stems");
    fs::create_directories(home / "out/edits");
    test::write_text(home / "out/stems/keeper.wav", "mine");
    for (const auto& [name, text] : files) test::write_text(home / "out" / name, text);
    const Tree before = tree_of(home.path());
    const auto staged = StagedFolder::make(home / "out", true);
    ASSERT_FALSE(staged) << files.size();
    EXPECT_EQ(staged.error().kind, ErrorKind::bad_command);
    EXPECT_EQ(tree_of(home.path()), before);
  }
}

TEST(StagedFolder, NeverReplacesThroughALinkInAFoldersPlace) {
  const test::TemporaryFolder home;
  const fs::path dir = home / "out";
  fs::create_directory(dir);
  write_result(dir, "old");
  fs::rename(dir / "stems", home / "elsewhere");
  fs::create_directory_symlink(home / "elsewhere", dir / "stems");
  const Tree before = tree_of(home.path());
  {
    auto staged = StagedFolder::make(dir, true);
    ASSERT_TRUE(staged);
    write_result(staged->path(), "new");
    const auto committed = staged->commit();
    ASSERT_FALSE(committed);
    EXPECT_EQ(committed.error().kind, ErrorKind::bad_command);
    EXPECT_EQ(committed.error().file.filename(), "stems");
  }
  EXPECT_EQ(tree_of(home.path()), before);
  EXPECT_TRUE(fs::is_symlink(dir / "stems"));
}

TEST(StagedFolder, NeverReplacesAFolderUnderTheNameOfAFile) {
  const test::TemporaryFolder home;
  fs::create_directory(home / "out");
  write_result(home / "out", "old");
  fs::create_directory(home / "out/stems/pilot.wav");
  test::write_text(home / "out/stems/pilot.wav/mine", "mine");
  const Tree before = tree_of(home.path());
  {
    auto staged = StagedFolder::make(home / "out", true);
    ASSERT_TRUE(staged);
    write_result(staged->path(), "new", {"keeper", "pilot"});
    const auto committed = staged->commit();
    ASSERT_FALSE(committed);
    EXPECT_EQ(committed.error().kind, ErrorKind::bad_command);
    EXPECT_EQ(committed.error().file.filename(), "pilot.wav");
  }
  EXPECT_EQ(tree_of(home.path()), before);
}

/// One rename of all fails.
class OneRenameFails : public FileCalls {
 public:
  explicit OneRenameFails(int which) : left_(which) {}
  int rename(const char* from, const char* to) override {
    if (left_-- != 0) return FileCalls::rename(from, to);
    errno = EIO;
    return -1;
  }

 private:
  int left_;
};

TEST(StagedFolder, TakesEverythingBackWhenAMoveFails) {
  constexpr int kMoves = 9;  // the journal's three names, three files out, three in
  for (int which = 0; which < kMoves; ++which) {
    const test::TemporaryFolder home;
    fs::create_directory(home / "out");
    write_result(home / "out", "old");
    const Tree before = tree_of(home.path());
    {
      auto staged = StagedFolder::make(home / "out", true);
      ASSERT_TRUE(staged);
      write_result(staged->path(), "new");
      OneRenameFails calls(which);
      const test::ReplacedFileCalls replaced(calls);
      const auto committed = staged->commit();
      ASSERT_FALSE(committed) << which;
      EXPECT_EQ(committed.error().kind, ErrorKind::cannot_write) << which;
    }
    EXPECT_EQ(tree_of(home.path()), before) << which;
  }
}

TEST(StagedFolder, AFileUnderTheNameOrAboveItIsAnError) {
  const test::TemporaryFolder home;
  test::write_text(home / "file", "text");
  for (const auto& dir : {home / "file", home / "file/out", home / "file/deep/out"}) {
    const auto staged = StagedFolder::make(dir, true);
    ASSERT_FALSE(staged) << dir;
    EXPECT_EQ(staged.error().kind, ErrorKind::cannot_write);
    EXPECT_FALSE(staged.error().next_step.empty());
  }
  EXPECT_EQ(tree_of(home.path()), Tree{"file=text"});
}

TEST(StagedFolder, WhatAKilledProcessLeftIsRemovedByTheNext) {
  const test::TemporaryFolder home;
  for (const bool exists : {false, true}) {
    const fs::path dir = home / (exists ? "there" : "missing");
    if (exists) fs::create_directory(dir);
    run_and_kill([&] {
      const auto staged = StagedFolder::make(dir, false);
      test::write_text(staged->path() / "half.wav", "half");
      die();
    });
    {
      auto staged = StagedFolder::make(dir, false);
      ASSERT_TRUE(staged);
      EXPECT_FALSE(fs::exists(staged->path() / "half.wav"));
      write_result(staged->path(), "new");
      EXPECT_TRUE(staged->commit());
    }
    EXPECT_EQ(tree_of(dir), kNewResult);
  }
  EXPECT_EQ(std::distance(fs::directory_iterator(home.path()), {}), 2);
}

TEST(StagedFolder, NeverEmptiesAFolderOfTheUsersThatHasAStagingFoldersName) {
  const test::TemporaryFolder home;
  fs::create_directory(home / "out.part");
  test::write_text(home / "out.part" / "mine.wav", "mine");
  {
    auto staged = StagedFolder::make(home / "out", false);
    ASSERT_TRUE(staged);
    EXPECT_NE(staged->path().filename(), "out.part");
    write_result(staged->path(), "new");
    EXPECT_TRUE(staged->commit());
  }
  EXPECT_EQ(tree_of(home / "out"), kNewResult);
  EXPECT_EQ(tree_of(home / "out.part"), Tree{"mine.wav=mine"});
}

TEST(StagedFolder, AResultThatWasBeingReplacedIsWholeOrPutBack) {
  int put_back = 0;
  int replaced = 0;
  // The journal's three names, four files out, three in.
  for (int renames = 0; renames <= 10; ++renames) {
    const test::TemporaryFolder home;
    const fs::path dir = home / "out";
    fs::create_directory(dir);
    write_result(dir, "old", {"keeper", "mate"});
    test::write_text(dir / "notes.txt", "mine");
    const Tree before = tree_of(dir);
    kill_in_commit<DyingCalls>(dir, renames);
    EXPECT_TRUE(is_whole_or_unlisted(dir)) << renames;
    // The next run finds an earlier result to replace, whichever.
    {
      const auto next = StagedFolder::make(dir, true);
      EXPECT_TRUE(next) << renames;
    }
    const Tree after = tree_of(dir);
    Tree with_notes = kNewResult;
    with_notes.insert(with_notes.begin() + 3, "notes.txt=mine");
    std::sort(with_notes.begin(), with_notes.end());
    if (after == before)
      ++put_back;
    else
      EXPECT_EQ(after, with_notes) << renames;
    replaced += after == with_notes;
  }
  EXPECT_EQ(put_back, 10);
  EXPECT_EQ(replaced, 1);
}

TEST(StagedFolder, AResultIsWholeOrPutBackThoughTheNextRunIsKilledToo) {
  int killed = 0;
  for (int first = 0; first <= 10; ++first) {
    bool survived = false;
    for (int second = 0; !survived && second < 40; ++second) {
      const test::TemporaryFolder home;
      const fs::path dir = home / "out";
      fs::create_directory(dir);
      write_result(dir, "old", {"keeper", "mate"});
      const Tree before = tree_of(dir);
      kill_in_commit<DyingCalls>(dir, first);
      run_and_kill([&] {
        DyingCalls calls(second, true);
        replace_file_calls(&calls);
        if (StagedFolder::make(dir, true)) test::write_text(home / "survived", "");
        die();
      });
      survived = fs::remove(home / "survived");
      killed += !survived;
      EXPECT_TRUE(is_whole_or_unlisted(dir)) << first << ' ' << second;
      { EXPECT_TRUE(StagedFolder::make(dir, true)) << first << ' ' << second; }
      const Tree after = tree_of(dir);
      EXPECT_TRUE(after == before || after == kNewResult)
          << first << ' ' << second << testing::PrintToString(after);
    }
    EXPECT_TRUE(survived) << first;
  }
  EXPECT_GT(killed, 50);
}

TEST(StagedFolder, PutsAResultBackThoughSomebodyRemovedWhatWasToReplaceIt) {
  for (int renames = 0; renames <= 9; ++renames) {
    const test::TemporaryFolder home;
    const fs::path dir = home / "out";
    fs::create_directory(dir);
    write_result(dir, "old", {"keeper", "mate"});
    const Tree before = tree_of(dir);
    kill_in_commit<DyingCalls>(dir, renames);
    fs::remove_all(dir / ".conform.part");
    { EXPECT_TRUE(StagedFolder::make(dir, true)) << renames; }
    EXPECT_EQ(tree_of(dir), before) << renames;
  }
}

TEST(StagedFolder, WhereverARunIsKilledTheNextLeavesNoParts) {
  for (const bool replaces : {false, true}) {
    bool survived = false;
    int killed = 0;
    for (; !survived && killed < 100; killed += !survived) {
      const test::TemporaryFolder home;
      const fs::path dir = home / "out";
      if (replaces) {
        fs::create_directory(dir);
        write_result(dir, "old");
      }
      // What one killed process left, the one that is killed now has to remove too.
      run_and_kill([&] {
        const auto staged = StagedFolder::make(dir, true);
        write_result(staged->path(), "half");
        die();
      });
      run_and_kill([&] {
        DyingCalls calls(killed, true);
        replace_file_calls(&calls);
        auto staged = StagedFolder::make(dir, true);
        write_result(staged->path(), "new");
        if (staged->commit()) test::write_text(home / "survived", "");
        die();
      });
      survived = fs::remove(home / "survived");
      const Tree before = tree_of(home.path());
      {
        auto staged = StagedFolder::make(dir, true);
        ASSERT_TRUE(staged) << killed << testing::PrintToString(before);
        write_result(staged->path(), "new");
        ASSERT_TRUE(staged->commit()) << killed << testing::PrintToString(before);
      }
      EXPECT_EQ(tree_of(dir), kNewResult) << killed << testing::PrintToString(before);
      EXPECT_EQ(std::distance(fs::directory_iterator(home.path()), {}), 1)
          << killed << testing::PrintToString(before);
    }
    EXPECT_TRUE(survived);
    EXPECT_GT(killed, replaces ? 15 : 5);
  }
}

/// A removal fails, or takes its neighbour along as some file systems do.
class OddRemovals : public FileCalls {
 public:
  OddRemovals(fs::path stuck, fs::path gone_too)
      : stuck_(std::move(stuck)), gone_too_(std::move(gone_too)) {}
  int remove(const char* path) override {
    if (path == stuck_) {
      errno = EIO;
      return -1;
    }
    if (fs::path(path).parent_path() == gone_too_.parent_path()) fs::remove(gone_too_);
    return FileCalls::remove(path);
  }

 private:
  fs::path stuck_;
  fs::path gone_too_;
};

TEST(StagedFolder, ANewResultStaysThoughTheEarlierOneCannotBeRemoved) {
  const test::TemporaryFolder home;
  const fs::path dir = home / "out";
  fs::create_directory(dir);
  write_result(dir, "old", {"keeper", "mate"});
  {
    auto staged = StagedFolder::make(dir, true);
    ASSERT_TRUE(staged);
    write_result(staged->path(), "new");
    OddRemovals calls(dir / ".earlier.part/stems/mate.wav", {});
    const test::ReplacedFileCalls replaced(calls);
    ASSERT_TRUE(staged->commit());
  }
  EXPECT_TRUE(fs::exists(dir / ".earlier.part"));
  { EXPECT_TRUE(StagedFolder::make(dir, true)); }
  EXPECT_EQ(tree_of(dir), kNewResult);
}

TEST(StagedFolder, WhatVanishesWhileItIsRemovedIsNoFault) {
  for (const char* vanishes : {"stems/keeper.wav", "stems/mate.wav"}) {
    const test::TemporaryFolder home;
    const fs::path dir = home / "out";
    fs::create_directory(dir);
    write_result(dir, "old", {"keeper", "mate"});
    auto staged = StagedFolder::make(dir, true);
    ASSERT_TRUE(staged);
    write_result(staged->path(), "new");
    OddRemovals calls({}, dir / ".earlier.part" / vanishes);
    const test::ReplacedFileCalls replaced(calls);
    ASSERT_TRUE(staged->commit());
    EXPECT_EQ(tree_of(dir), kNewResult);
  }
}

TEST(StagedFolder, KeepsAFileOfTheUsersUnderTheNameOfItsOwnMark) {
  const test::TemporaryFolder home;
  for (const char* text : {"", "mine"}) {
    fs::create_directories(home / "out");
    test::write_text(home / "out/.conform", text);
    test::write_text(home / "out/mine.wav", "mine");
    EXPECT_FALSE(StagedFolder::make(home / "out", false));
    EXPECT_EQ(test::read_text(home / "out/.conform"), text);
    fs::create_directories(home / "new.part");
    test::write_text(home / "new.part/.conform", text);
    test::write_text(home / "new.part/mine.wav", "mine");
    const Tree before = tree_of(home / "new.part");
    { EXPECT_TRUE(StagedFolder::make(home / "new", false)); }
    EXPECT_EQ(tree_of(home / "new.part"), before);
  }
}

TEST(StagedFolder, AResultThatIsNamedLikeAStagingFolderIsNone) {
  const test::TemporaryFolder home;
  run_and_kill([&] {
    auto staged = StagedFolder::make(home / "x.part", false);
    write_result(staged->path(), "new");
    DyingCalls calls(1, true);  // between its name and the removal of its mark
    replace_file_calls(&calls);
    (void)staged->commit();
    die();
  });
  ASSERT_TRUE(fs::exists(home / "x.part/lineup.json"));
  { EXPECT_TRUE(StagedFolder::make(home / "x", false)); }
  { EXPECT_TRUE(StagedFolder::make(home / "x.part", true)); }
  EXPECT_EQ(tree_of(home / "x.part"), kNewResult);
}

TEST(StagedFolder, WhatIsLeftUnderANumberGoesToo) {
  const test::TemporaryFolder home;
  for (const bool exists : {false, true}) {
    const fs::path dir = home / "out";
    if (exists) fs::create_directory(dir);
    {
      const auto alive = StagedFolder::make(dir, false);
      run_and_kill([&] {
        const auto staged = StagedFolder::make(dir, false);
        test::write_text(staged->path() / "half.wav", "half");
        die();
      });
      EXPECT_TRUE(fs::exists(alive->path().string() + "-2"));
    }
    { EXPECT_TRUE(StagedFolder::make(dir, false)); }
    EXPECT_EQ(tree_of(home.path()), exists ? Tree{"out/"} : Tree{});
  }
}

/// One rename fails, or all of one file; then the process dies after some more calls.
class FailingAndDyingCalls : public FileCalls {
 public:
  FailingAndDyingCalls(int failing, int more) : failing_(failing), more_(more) {}
  int rename(const char* from, const char* to) override {
    if (failed_) count();
    if (failing_-- != 0) return FileCalls::rename(from, to);
    failed_ = true;
    errno = EIO;
    return -1;
  }
  int remove(const char* path) override {
    if (failed_) count();
    return FileCalls::remove(path);
  }

 private:
  void count() {
    if (more_-- == 0) die();
  }

  int failing_;
  int more_;
  bool failed_{false};
};

TEST(StagedFolder, AResultIsPutBackThoughARunThatTakesItsMovesBackIsKilled) {
  for (int failing = 0; failing <= 8; ++failing) {
    for (int more = 0; more <= 10; ++more) {
      const test::TemporaryFolder home;
      const fs::path dir = home / "out";
      fs::create_directory(dir);
      write_result(dir, "old");
      const Tree before = tree_of(dir);
      kill_in_commit<FailingAndDyingCalls>(dir, failing, more);
      { EXPECT_TRUE(StagedFolder::make(dir, true)) << failing << ' ' << more; }
      EXPECT_EQ(tree_of(dir), before) << failing << ' ' << more;
    }
  }
}

/// No file of one name can be renamed, or removed.
class StuckName : public FileCalls {
 public:
  explicit StuckName(std::string name) : name_(std::move(name)) {}
  int rename(const char* from, const char* to) override {
    return is_stuck(from) ? -1 : FileCalls::rename(from, to);
  }
  int remove(const char* path) override { return is_stuck(path) ? -1 : FileCalls::remove(path); }

 private:
  bool is_stuck(const char* path) const {
    errno = EPERM;
    return fs::path(path).filename() == name_;
  }

  std::string name_;
};

TEST(StagedFolder, NothingIsLostWhereAFileCannotBeMovedOrRemoved) {
  int left_to_the_next = 0;
  for (const char* name : {".going-out", ".coming-in", ".in-place", "lineup.json", "keeper.wav"}) {
    for (int renames = 0; renames <= 9; ++renames) {
      const test::TemporaryFolder home;
      const fs::path dir = home / "out";
      fs::create_directory(dir);
      write_result(dir, "old");
      const Tree before = tree_of(dir);
      kill_in_commit<DyingCalls>(dir, renames);
      {
        StuckName calls(name);
        const test::ReplacedFileCalls replaced(calls);
        left_to_the_next += !StagedFolder::make(dir, true);
      }
      EXPECT_TRUE(is_whole_or_unlisted(dir)) << name << renames;
      { EXPECT_TRUE(StagedFolder::make(dir, true)) << name << renames; }
      const Tree after = tree_of(dir);
      EXPECT_TRUE(after == before || (renames == 9 && after == kNewResult))
          << name << renames << testing::PrintToString(after);
    }
  }
  EXPECT_GT(left_to_the_next, 5);
  for (const char* name : {".going-out", ".coming-in", "lineup.json", "keeper.wav"}) {
    const test::TemporaryFolder home;
    const fs::path dir = home / "out";
    fs::create_directory(dir);
    write_result(dir, "old");
    const Tree before = tree_of(dir);
    {
      auto staged = StagedFolder::make(dir, true);
      ASSERT_TRUE(staged);
      write_result(staged->path(), "new");
      StuckName calls(name);
      const test::ReplacedFileCalls replaced(calls);
      EXPECT_FALSE(staged->commit()) << name;
    }
    { EXPECT_TRUE(StagedFolder::make(dir, true)) << name; }
    EXPECT_EQ(tree_of(dir), before) << name;
  }
}

TEST(StagedFolder, AFolderThatWasEmptyIsEmptyAgainAfterAKilledRun) {
  for (int renames = 0; renames <= 5; ++renames) {
    const test::TemporaryFolder home;
    const fs::path dir = home / "out";
    fs::create_directory(dir);
    kill_in_commit<DyingCalls>(dir, renames);
    { EXPECT_TRUE(StagedFolder::make(dir, false)) << renames; }
    EXPECT_EQ(tree_of(dir), Tree{}) << renames;
  }
}

TEST(StagedFolder, KeepsAFolderOfTheUsersWhereAnEarlierResultGoes) {
  for (const bool is_link : {false, true}) {
    const test::TemporaryFolder home;
    const fs::path dir = home / "out";
    fs::create_directory(dir);
    write_result(dir, "old");
    fs::create_directory(home / "mine");
    test::write_text(home / "mine/report.html", "mine");
    if (is_link)
      fs::create_directory_symlink(home / "mine", dir / ".earlier.part");
    else
      fs::rename(home / "mine", dir / ".earlier.part");
    const Tree before = tree_of(home.path());
    const auto refused = StagedFolder::make(dir, true);
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().kind, ErrorKind::bad_command);
    EXPECT_EQ(tree_of(home.path()), before);
  }
}

TEST(StagedFolder, TheSecondOfTwoThatFillOneFolderIsRefused) {
  for (const bool replaces : {false, true}) {
    const test::TemporaryFolder home;
    const fs::path dir = home / "out";
    fs::create_directory(dir);
    if (replaces) write_result(dir, "old");
    auto first = StagedFolder::make(dir, replaces);
    auto second = StagedFolder::make(dir, replaces);
    ASSERT_TRUE(first);
    ASSERT_TRUE(second);
    write_result(first->path(), "new");
    write_result(second->path(), "late");
    EXPECT_TRUE(first->commit());
    const auto refused = second->commit();
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().kind, ErrorKind::bad_command);
    EXPECT_EQ(test::read_text(dir / "stems/keeper.wav"), "new");
    EXPECT_FALSE(fs::exists(dir / ".earlier.part"));
  }
}

TEST(StagedFolder, AnEmptyStagingFolderUnderANumberIsOneThatWasLeft) {
  const test::TemporaryFolder home;
  fs::create_directory(home / "out.part-2");
  test::write_text(home / "out.part-2/.conform", "");
  fs::create_directory(home / "out.part-3");
  { EXPECT_TRUE(StagedFolder::make(home / "out", false)); }
  EXPECT_EQ(tree_of(home.path()), Tree{});
}

TEST(StagedFolder, TwoAtATimeDoNotMeet) {
  const test::TemporaryFolder home;
  auto first = StagedFolder::make(home / "out", false);
  auto second = StagedFolder::make(home / "out", false);
  ASSERT_TRUE(first);
  ASSERT_TRUE(second);
  EXPECT_NE(first->path(), second->path());
  write_result(first->path(), "new");
  write_result(second->path(), "late");
  EXPECT_TRUE(first->commit());
  EXPECT_FALSE(second->commit());
  EXPECT_EQ(tree_of(home / "out"), kNewResult);
}

}  // namespace
}  // namespace kilter::conform
