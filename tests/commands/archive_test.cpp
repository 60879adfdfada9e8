// Which folders of an archive are sessions, and where their results go.
#include "archive.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <set>
#include <string>
#include <vector>

#include "kilter/base/name_key.h"
#include "small_show.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::commands {
namespace {

namespace fs = std::filesystem;
using Names = std::vector<std::string>;

class ArchiveTest : public testing::Test {
 protected:
  fs::path root() const { return home_ / "shows"; }
  /// So many audio files in the folder of that name.
  void make(const std::string& name, int files) const {
    fs::create_directories(root() / name);
    for (int i = 1; i <= files; ++i)
      test::write_sound(
          root() / name / ("take-" + std::string(1, static_cast<char>('a' + i)) + ".wav"),
          {test::noise(80, 0.1F, 1)}, 8000);
  }
  Archive found() const {
    auto archive = find_sessions(root(), home_ / "shows" / "done");
    EXPECT_TRUE(archive);
    return archive ? *archive : Archive{};
  }
  Names names() const {
    Names names;
    for (const ArchivedSession& session : found().sessions) names.push_back(session.name);
    return names;
  }
  Names results() const {
    Names results;
    for (const ArchivedSession& session : found().sessions)
      results.push_back(session.result.generic_string());
    return results;
  }

  test::TemporaryFolder home_;
};

TEST_F(ArchiveTest, HoldsAtAnyDepthTheFoldersWithTwoAudioFilesOrASessionFile) {
  make("hour-10", 2);
  make("hour-2", 3);
  make("season/late/hour-1", 2);
  make("told", 1);
  test::write_text(root() / "told" / "Session.TOML", "title = \"Told\"\n");
  make("lonely", 1);
  make("empty", 0);
  test::write_text(root() / "season" / "notes.txt", "weather");
  EXPECT_EQ(names(), (Names{"hour-2", "hour-10", "season/late/hour-1", "told"}));
  EXPECT_EQ(results(), names());
}

TEST_F(ArchiveTest, TellsOfWhatMayBeMissed) {
  make("hour", 2);
  make("lonely", 1);
  fs::create_directory_symlink(root() / "hour", root() / "linked");
  const Archive archive = found();
  ASSERT_EQ(archive.passed_over.size(), 2U);
  EXPECT_EQ(archive.passed_over[0].name, "linked");
  EXPECT_EQ(archive.passed_over[1].name, "lonely");
  EXPECT_NE(archive.passed_over[1].why.find("single"), std::string::npos);
}

TEST_F(ArchiveTest, HoldsNoSessionsWhereResultsAreAndNoHiddenOnes) {
  make("hour", 2);
  make("done/hour", 2);
  make(".trash/hour", 2);
  make("writing.part", 2);
  test::write_text(root() / "writing.part" / ".conform", "");
  const test::SmallShow show;
  ASSERT_LE(test::run_kilter(show.conform_args({})).exit, 1);
  fs::copy(show.out(), root() / "finished", fs::copy_options::recursive);
  ASSERT_TRUE(fs::exists(root() / "finished" / "stems" / "keeper.wav"));
  EXPECT_EQ(names(), Names{"hour"});
}

TEST_F(ArchiveTest, TakesFoldersThatASessionNamesForPartOfIt) {
  make("told/room", 2);
  make("told/other", 2);
  test::write_text(root() / "told" / "session.toml",
                   "[[track]]\nname = \"keeper\"\nparts = [\"room/take-b.wav\"]\n"
                   "[[track]]\nname = \"mate\"\nparts = [\"room/take-c.wav\"]\n");
  EXPECT_EQ(names(), (Names{"told", "told/other"}));
}

TEST_F(ArchiveTest, KeepsABrokenSessionFileAsASessionAndLooksForNoneBelowIt) {
  make("broken/room", 2);
  test::write_text(root() / "broken" / "session.toml", "title = [");
  EXPECT_EQ(names(), Names{"broken"});
}

TEST_F(ArchiveTest, PutsNoResultIntoAnothers) {
  make("hour", 2);
  make("hour/more", 2);
  EXPECT_EQ(results(), (Names{"hour", "hour.below/more"}));
}

TEST_F(ArchiveTest, GivesEverySessionAPlaceOfItsOwnThatIsLegalEverywhere) {
  for (const char* name : {"a:b", "a_b", "Hour", "hour", "con", "x.part", "x"}) make(name, 2);
  std::set<std::u32string> keys;
  const Names places = results();
  for (const std::string& place : places) {
    keys.insert(name_key(place));
    EXPECT_EQ(place.find(':'), std::string::npos);
    EXPECT_FALSE(place.ends_with(".part")) << place;
    EXPECT_NE(place, "con");
  }
  EXPECT_EQ(places.size(), 7U);
  EXPECT_EQ(keys.size(), places.size());
}

TEST_F(ArchiveTest, IsItselfASessionWhereItHoldsOne) {
  make("", 2);
  make("hour", 2);
  EXPECT_EQ(names(), (Names{".", "hour"}));
  EXPECT_EQ(results(), (Names{"shows", "hour"}));
}

TEST_F(ArchiveTest, TellsOfAFolderThatCannotBeRead) {
  if (::geteuid() == 0) GTEST_SKIP() << "root reads everything";
  make("hour", 2);
  make("locked", 2);
  fs::permissions(root() / "locked", fs::perms::none);
  const Archive archive = found();
  fs::permissions(root() / "locked", fs::perms::owner_all);
  ASSERT_EQ(archive.passed_over.size(), 1U);
  EXPECT_TRUE(archive.passed_over[0].is_failure);
}

TEST(ArchiveParts, ShareSessionsWhateverElseThereIs) {
  std::vector<int> count(4);
  for (int i = 0; i < 400; ++i) {
    const int part = part_of("season-1/hour-" + std::to_string(i), 4);
    ASSERT_GE(part, 1);
    ASSERT_LE(part, 4);
    ++count[static_cast<std::size_t>(part - 1)];
  }
  for (const int each : count) EXPECT_NEAR(each, 100, 40);
  // Machines of different versions must agree.
  EXPECT_EQ(part_of("season-1/hour-1", 1000), 114);
  EXPECT_EQ(part_of(".", 7), 5);
}

TEST(ArchiveRefusal, NamesAFolderThatIsNotThere) {
  const auto archive = find_sessions("no/such/place", std::nullopt);
  ASSERT_FALSE(archive);
  EXPECT_EQ(archive.error().kind, ErrorKind::no_input);
}

}  // namespace
}  // namespace kilter::commands
