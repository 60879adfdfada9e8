#include <gtest/gtest.h>
#include <sys/stat.h>

#include "kilter/session/session.h"
#include "support/temporary_folder.h"

namespace kilter::session {
namespace {

class SessionToml : public testing::Test {
 protected:
  SessionToml() {
    for (const char* name : {"desk.wav", "guest.flac", "spare.wav", "show.mp3"})
      test::write_text(folder_ / name, "x");
  }
  Result<Session> open(const std::string& text) const {
    test::write_text(folder_ / "session.toml", text);
    return open_session({folder_.path()}, {});
  }

  test::TemporaryFolder folder_;
};

TEST_F(SessionToml, NamesTheMixAndTheTracks) {
  const auto session = open(R"(
title = "Lighthouse Hour 12"
mix = "show.mp3"
[[track]]
name = "keeper"
parts = ["desk.wav"]
channel = 3
recorder = "desk"
role = "room"
[[track]]
parts = ["spare.wav"]
role = "ignore"
)");
  ASSERT_TRUE(session) << session.error().what;
  EXPECT_EQ(session->name, "Lighthouse Hour 12");
  // Files that it does not mention stay.
  ASSERT_EQ(session->files.size(), 4U);
  EXPECT_EQ(session->files[session->mix.value()].name, "show.mp3");
  ASSERT_EQ(session->declared.size(), 2U);
  const DeclaredTrack& keeper = session->declared[0];
  EXPECT_EQ(keeper.name, "keeper");
  EXPECT_EQ(session->files[keeper.file].name, "desk.wav");
  EXPECT_EQ(keeper.channel, 3);
  EXPECT_EQ(keeper.recorder, "desk");
  EXPECT_EQ(keeper.role, Role::room);
  EXPECT_EQ(session->declared[1].role, Role::ignore);
}

TEST_F(SessionToml, CanBeTheArgumentItself) {
  test::write_text(folder_ / "other.toml", "mix = \"show.mp3\"\n");
  const auto session = open_session({folder_ / "other.toml"}, {});
  ASSERT_TRUE(session);
  EXPECT_TRUE(session->mix);
}

TEST_F(SessionToml, TakesAFileForOneHoweverItsPathIsWritten) {
  const auto session = open(R"(
mix = "./show.mp3"
[[track]]
parts = ["takes/../desk.wav"]
channel = 1
[[track]]
parts = [")" + (folder_ / "desk.wav").string() +
                            R"("]
channel = 2
)");
  ASSERT_TRUE(session) << session.error().what;
  EXPECT_EQ(session->files.size(), 4U);
  EXPECT_EQ(session->files[session->mix.value()].name, "show.mp3");
  ASSERT_EQ(session->declared.size(), 2U);
  EXPECT_EQ(session->files[session->declared[0].file].name, "desk.wav");
  EXPECT_EQ(session->declared[1].file, session->declared[0].file);
}

TEST_F(SessionToml, JoinsThePartsOfATake) {
  const auto session = open(R"(
mix = "show.mp3"
[[track]]
name = "keeper"
parts = ["desk.wav", "spare.wav"]
channel = 1
[[track]]
name = "cook"
parts = ["desk.wav", "spare.wav"]
channel = 2
start_s = -12
pinned = true
)");
  ASSERT_TRUE(session) << session.error().what;
  ASSERT_EQ(session->files.size(), 3U);
  EXPECT_EQ(session->files[session->mix.value()].name, "show.mp3");
  ASSERT_EQ(session->declared.size(), 2U);
  const SessionFile& take = session->files[session->declared[1].file];
  EXPECT_EQ(take.name, "desk.wav");
  ASSERT_EQ(take.later_parts.size(), 1U);
  EXPECT_EQ(take.later_parts[0].name, "spare.wav");
  EXPECT_EQ(session->declared[1].start_s, -12.0);
  EXPECT_TRUE(session->declared[1].pinned);
  EXPECT_FALSE(session->declared[0].start_s);
}

TEST_F(SessionToml, TakesAWholeFileWithTheMixesRoleForTheMix) {
  const auto session = open("[[track]]\nparts = [\"show.mp3\"]\nrole = \"mix\"\n");
  ASSERT_TRUE(session) << session.error().what;
  EXPECT_EQ(session->files[session->mix.value()].name, "show.mp3");
}

TEST_F(SessionToml, LeavesASecondFileWithTheMixesRoleAsItIsWhereItsKeyNamesTheMix) {
  const auto session = open(
      "mix = \"show.mp3\"\n[[track]]\nparts = [\"spare.wav\"]\nrole = \"mix\"\n"
      "[[track]]\nparts = [\"guest.flac\"]\nrole = \"mix\"\n");
  ASSERT_TRUE(session) << session.error().what;
  EXPECT_EQ(session->files[session->mix.value()].name, "show.mp3");
}

TEST_F(SessionToml, ThatIsAPipeIsRefusedAndNotWaitedFor) {
  ASSERT_EQ(::mkfifo((folder_ / "session.toml").c_str(), 0600), 0);
  const auto session = open_session({folder_.path()}, {});
  ASSERT_FALSE(session);
  EXPECT_NE(session.error().what.find("ordinary file"), std::string::npos);
}

TEST_F(SessionToml, ThatIsALinkOutOfTheFolderIsNotFollowed) {
  const test::TemporaryFolder elsewhere;
  test::write_text(elsewhere / "far.toml", "title = \"Far\"\n");
  std::filesystem::create_symlink(elsewhere / "far.toml", folder_ / "session.toml");
  const auto session = open_session({folder_.path()}, {});
  ASSERT_FALSE(session);
  EXPECT_NE(session.error().what.find("leads out"), std::string::npos);
}

TEST_F(SessionToml, MayNameTheFolderInWhichItLies) { EXPECT_TRUE(open("folder = \".\"\n")); }

TEST_F(SessionToml, MayLieElsewhereAndNameTheFolder) {
  test::TemporaryFolder elsewhere;
  test::write_text(elsewhere / "twelve.toml",
                   "folder = \"" + folder_.path().string() + "\"\nmix = \"show.mp3\"\n");
  const auto session = open_session({elsewhere / "twelve.toml"}, {});
  ASSERT_TRUE(session) << session.error().what;
  EXPECT_EQ(session->files.size(), 4U);
  EXPECT_EQ(session->files[session->mix.value()].name, "show.mp3");
}

TEST_F(SessionToml, SaysWhenTheFolderItNamesIsNotThere) {
  test::write_text(folder_ / "twelve.toml", "title = \"Twelve\"\nfolder = \"gone\"\n");
  const auto session = open_session({folder_ / "twelve.toml"}, {});
  ASSERT_FALSE(session);
  EXPECT_NE(session.error().what.find("line 2: \"folder\" must name"), std::string::npos)
      << session.error().what;
}

TEST_F(SessionToml, NamesFilesOutsideItsFolderOnlyWhenGivenItself) {
  test::TemporaryFolder elsewhere;
  test::write_text(elsewhere / "far.wav", "x");
  const std::string text = "mix = \"" + (elsewhere / "far.wav").string() + "\"\n";
  const auto scanned = open(text);
  ASSERT_FALSE(scanned);
  EXPECT_NE(scanned.error().what.find("outside"), std::string::npos) << scanned.error().what;
  EXPECT_TRUE(open_session({folder_ / "session.toml"}, {}));
}

TEST_F(SessionToml, GivesWayToTheCommandLine) {
  test::write_text(folder_ / "session.toml", "mix = \"show.mp3\"\n");
  const auto session = open_session({folder_.path()}, folder_ / "spare.wav");
  ASSERT_TRUE(session);
  EXPECT_EQ(session->files[session->mix.value()].name, "spare.wav");
}

struct MistakeCase {
  const char* name;
  const char* text;
  const char* what;
};

class Mistakes : public SessionToml, public testing::WithParamInterface<MistakeCase> {};

TEST_P(Mistakes, AreNamedWithTheirLine) {
  const auto session = open(GetParam().text);
  ASSERT_FALSE(session);
  EXPECT_EQ(session.error().kind, ErrorKind::no_input);
  EXPECT_NE(session.error().what.find(GetParam().what), std::string::npos) << session.error().what;
}

INSTANTIATE_TEST_SUITE_P(
    Cases, Mistakes,
    testing::Values(
        MistakeCase{"NotToml", "mix = \n", "line 1"},
        MistakeCase{"UnknownKey", "\nmixx = \"show.mp3\"\n", "line 2: \"mixx\""},
        MistakeCase{"UnknownTrackKey", "[[track]]\nparts = [\"desk.wav\"]\ngain = 3\n",
                    "line 3: \"gain\""},
        MistakeCase{"NoSuchFile", "mix = \"gone.wav\"\n", "no file \"gone.wav\""},
        MistakeCase{"NearlyAKey", "mixx = \"show.mp3\"\n", "did you mean \"mix\""},
        MistakeCase{"NearlyATrackKey", "[[track]]\nparts = [\"desk.wav\"]\nchanel = 1\n",
                    "line 3: \"chanel\" is not a key that we know; did you mean \"channel\""},
        MistakeCase{"NoPartInParts", "[[track]]\nparts = []\n", "\"parts\" must be a list"},
        MistakeCase{"PartTwice", "[[track]]\nparts = [\"desk.wav\", \"./desk.wav\"]\n", "twice"},
        MistakeCase{"PartOfTwoTakes",
                    "[[track]]\nparts = [\"desk.wav\", \"spare.wav\"]\n"
                    "[[track]]\nparts = [\"guest.flac\", \"spare.wav\"]\n",
                    "part of another take"},
        MistakeCase{"TakesThatBeginAlike",
                    "[[track]]\nchannel = 1\nparts = [\"desk.wav\", \"spare.wav\"]\n"
                    "[[track]]\nchannel = 2\nparts = [\"desk.wav\"]\n",
                    "begin alike"},
        MistakeCase{"LaterPartAsTrack",
                    "[[track]]\nparts = [\"desk.wav\", \"spare.wav\"]\n"
                    "[[track]]\nparts = [\"spare.wav\"]\n",
                    "later part"},
        MistakeCase{"MixAsLaterPart",
                    "mix = \"show.mp3\"\n[[track]]\nparts = [\"desk.wav\", \"show.mp3\"]\n",
                    "is the mix and a later part"},
        MistakeCase{"StartInWords", "[[track]]\nparts = [\"desk.wav\"]\nstart_s = \"12 s\"\n",
                    "line 3: \"start_s\" must be a number of seconds"},
        MistakeCase{"StartNever", "[[track]]\nparts = [\"desk.wav\"]\nstart_s = nan\n",
                    "\"start_s\" must be a number"},
        MistakeCase{"PinnedInWords",
                    "[[track]]\nparts = [\"desk.wav\"]\nstart_s = 1\npinned = \"yes\"\n",
                    "\"pinned\" must be true or false"},
        MistakeCase{"PinnedNowhere", "[[track]]\nparts = [\"desk.wav\"]\npinned = true\n",
                    "\"pinned\" needs \"start_s\""},
        MistakeCase{"TwoMixes",
                    "[[track]]\nparts = [\"show.mp3\"]\nrole = \"mix\"\n"
                    "[[track]]\nparts = [\"spare.wav\"]\nrole = \"mix\"\n",
                    "line 4: \"show.mp3\" has the role mix already"},
        MistakeCase{"AnotherFolder", "title = \"Twelve\"\nfolder = \"/\"\n",
                    "line 2: \"folder\" leads to \"/\""},
        MistakeCase{"NameTwice",
                    "[[track]]\nname = \"keeper\"\nparts = [\"desk.wav\"]\n"
                    "[[track]]\nname = \"Keeper\"\nparts = [\"spare.wav\"]\n",
                    "line 4: another [[track]] has the name \"Keeper\""},
        MistakeCase{"StartBeyondDays", "[[track]]\nparts = [\"desk.wav\"]\nstart_s = 1e9\n",
                    "within two days"},
        MistakeCase{"MixNotAText", "mix = 3\n", "line 1: \"mix\" must be a text"},
        MistakeCase{"NoParts", "[[track]]\nname = \"keeper\"\n", "needs \"parts\""},
        MistakeCase{"BadRole", "[[track]]\nparts = [\"desk.wav\"]\nrole = \"host\"\n", "\"role\""},
        MistakeCase{"BadChannel", "[[track]]\nparts = [\"desk.wav\"]\nchannel = 0\n",
                    "\"channel\""},
        MistakeCase{"TableForList", "[track]\nparts = [\"desk.wav\"]\n", "[[track]]"},
        MistakeCase{"TwiceInOtherWords",
                    "[[track]]\nparts = [\"desk.wav\"]\n[[track]]\nparts = [\"./desk.wav\"]\n",
                    "already"},
        MistakeCase{"Twice",
                    "[[track]]\nparts = [\"desk.wav\"]\n[[track]]\nparts = [\"desk.wav\"]\n",
                    "already"}),
    [](const auto& each) { return each.param.name; });

}  // namespace
}  // namespace kilter::session
