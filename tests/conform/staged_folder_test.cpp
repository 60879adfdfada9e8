#include "kilter/conform/staged_folder.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <string>
#include <vector>

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

/// What conform would write, `text` in every file.
void write_result(const fs::path& folder, const std::string& text) {
  fs::create_directory(folder / "stems");
  test::write_text(folder / "stems/keeper.wav", text);
  test::write_text(folder / "lineup.json", text);
}

const Tree kNewResult{"lineup.json=new", "stems/", "stems/keeper.wav=new"};

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
  EXPECT_EQ(tree_of(home / "out"),
            (Tree{".view=hidden", "lineup.json=new", "stems/", "stems/keeper.wav=new"}));
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
  write_result(home / "out", "old");
  test::write_text(home / "out/stems/gone.wav", "old");
  test::write_text(home / "out/report.html", "old");
  test::write_text(home / "out/notes.txt", "mine");
  {
    auto staged = StagedFolder::make(home / "out", true);
    ASSERT_TRUE(staged) << staged.error().what;
    write_result(staged->path(), "new");
    ASSERT_TRUE(staged->commit());
  }
  EXPECT_EQ(tree_of(home / "out"),
            (Tree{"lineup.json=new", "notes.txt=mine", "stems/", "stems/keeper.wav=new"}));
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
  const test::TemporaryFolder home;
  fs::create_directories(home / "out/stems");
  test::write_text(home / "out/stems/mine.wav", "mine");
  const auto staged = StagedFolder::make(home / "out", true);
  ASSERT_FALSE(staged);
  EXPECT_EQ(staged.error().kind, ErrorKind::bad_command);
  EXPECT_EQ(tree_of(home.path()), (Tree{"out/", "out/stems/", "out/stems/mine.wav=mine"}));
}

TEST(StagedFolder, TakesEverythingBackWhenAMoveFails) {
  const test::TemporaryFolder home;
  fs::create_directory(home / "out");
  write_result(home / "out", "old");
  test::write_text(home / "out/#first", "old");
  const Tree before = tree_of(home.path());
  {
    auto staged = StagedFolder::make(home / "out", true);
    ASSERT_TRUE(staged);
    write_result(staged->path(), "new");
    test::write_text(staged->path() / "#first", "new");
    // Named like the folder that takes the earlier files, which cannot be moved into itself.
    test::write_text(staged->path() / ".earlier.part", "new");
    const auto committed = staged->commit();
    ASSERT_FALSE(committed);
    EXPECT_EQ(committed.error().kind, ErrorKind::cannot_write);
  }
  EXPECT_EQ(tree_of(home.path()), before);
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
