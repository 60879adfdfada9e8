#include <gtest/gtest.h>

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
        MistakeCase{"SeveralParts", "[[track]]\nparts = [\"desk.wav\", \"spare.wav\"]\n",
                    "several parts"},
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
