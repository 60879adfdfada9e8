#include "kilter/session/session.h"

#include <gtest/gtest.h>
#include <sys/stat.h>

#include <algorithm>

#include "support/temporary_folder.h"

namespace kilter::session {
namespace {

namespace fs = std::filesystem;

using LeftOutOf = std::pair<std::string, LeftOut::Why>;

class SessionFolder : public testing::Test {
 protected:
  SessionFolder() { fs::create_directory(folder()); }

  fs::path folder() const { return root_ / "lighthouse-hour-12"; }
  /// Names only matter here: no file is opened.
  void put(const std::vector<std::string>& names) const {
    for (const std::string& name : names) test::write_text(folder() / name, "x");
  }
  static std::vector<std::string> names(const Session& session) {
    std::vector<std::string> result;
    for (const SessionFile& file : session.files) result.push_back(file.name);
    return result;
  }
  static std::vector<LeftOutOf> left_out(const Session& session) {
    std::vector<LeftOutOf> result;
    for (const LeftOut& each : session.left_out) result.emplace_back(each.name, each.why);
    return result;
  }

  test::TemporaryFolder root_;
};

TEST_F(SessionFolder, HoldsItsAudioFilesInOrder) {
  put({"mic-10.wav", "mic-2.wav", "Guest.FLAC", "mixdown.mp3", "notes.txt", ".hidden.wav",
       "late.wav.part", "._mic-2.wav"});
  fs::create_directory(folder() / "older.wav");
  fs::create_directory(folder() / "empty.wav");
  put({"older.wav/a.wav"});
  const auto session = open_session({folder()}, {});
  ASSERT_TRUE(session);
  EXPECT_EQ(session->name, "lighthouse-hour-12");
  EXPECT_TRUE(session->given_as_folder);
  EXPECT_EQ(names(*session),
            (std::vector<std::string>{"Guest.FLAC", "mic-2.wav", "mic-10.wav", "mixdown.mp3"}));
  EXPECT_EQ(session->files[0].path, fs::canonical(folder()) / "Guest.FLAC");
  EXPECT_FALSE(session->mix);
  EXPECT_EQ(left_out(*session), (std::vector<LeftOutOf>{{"late.wav.part", LeftOut::Why::unfinished},
                                                        {"older.wav", LeftOut::Why::folder}}));
}

TEST_F(SessionFolder, HoldsFilesThatBeginLikeSoundWhateverTheirNames) {
  put({"a.wav"});
  const std::vector<std::pair<const char*, std::string>> files{
      {"take one", "RIFF....WAVEfmt "},
      {"guest.bin", "fLaC"},
      {"phone.dat", "....ftypM4A "},
      {"keeper.mts", std::string(4, '\0') + 'G' + std::string(191, '.') + 'G' +
                         std::string(191, '.') + 'G' + std::string(191, '.')},
      {"photo.heic", "....ftypheic"},
      {"photo.jpg", "\xFF\xD8\xFF\xE0"},
      {"words.txt", "\xFF\xFEw"},
      {"list.txt", "RIFF is a kind of file"}};
  for (const auto& [name, begins] : files) test::write_text(folder() / name, begins);
  const auto session = open_session({folder()}, {});
  ASSERT_TRUE(session);
  EXPECT_EQ(names(*session), (std::vector<std::string>{"a.wav", "guest.bin", "keeper.mts",
                                                       "phone.dat", "take one"}));
}

TEST_F(SessionFolder, TellsOfWhatItDoesNotLookAt) {
  put({"a.wav"});
  fs::create_directories(folder() / "card" / "DAY1");
  fs::create_directory(folder() / "notes");
  put({"card/DAY1/0001.wav", "notes/words.txt"});
  ASSERT_EQ(::mkfifo((folder() / "live.wav").c_str(), 0600), 0);
  test::write_text(folder() / "guest.crdownload", "OggS");
  test::write_text(folder() / "words.tmp", "words");
  const auto session = open_session({folder()}, {});
  ASSERT_TRUE(session);
  EXPECT_EQ(names(*session), (std::vector<std::string>{"a.wav"}));
  EXPECT_EQ(left_out(*session),
            (std::vector<LeftOutOf>{{"card", LeftOut::Why::folder},
                                    {"guest.crdownload", LeftOut::Why::unfinished},
                                    {"live.wav", LeftOut::Why::no_file}}));
}

TEST_F(SessionFolder, OfFoldersNamesThoseThatHoldSound) {
  fs::create_directory(folder() / "card");
  put({"card/a.wav"});
  const auto session = open_session({folder()}, {});
  ASSERT_FALSE(session);
  EXPECT_NE(session.error().what.find("but in \"card\" below it"), std::string::npos)
      << session.error().what;
}

TEST_F(SessionFolder, MayHoldAllItsFilesFurtherBelowWhereSessionTomlNamesThem) {
  fs::create_directory(folder() / "card");
  put({"card/a.wav", "card/b.wav"});
  test::write_text(folder() / "session.toml",
                   "mix = \"card/a.wav\"\n[[track]]\nparts = [\"card/b.wav\"]\n");
  const auto session = open_session({folder()}, {});
  ASSERT_TRUE(session) << session.error().what;
  EXPECT_EQ(names(*session), (std::vector<std::string>{"card/a.wav", "card/b.wav"}));
  EXPECT_TRUE(session->left_out.empty());
}

TEST_F(SessionFolder, ReadsItsSessionFileWhateverItsCase) {
  put({"a.wav"});
  test::write_text(folder() / "Session.TOML", "title = \"Twelve\"\n");
  const auto session = open_session({folder()}, {});
  ASSERT_TRUE(session);
  EXPECT_EQ(session->name, "Twelve");
}

TEST_F(SessionFolder, RefusesASessionFileThatIsALinkToNothing) {
  put({"a.wav"});
  fs::create_symlink(folder() / "gone.toml", folder() / "session.toml");
  const auto session = open_session({folder()}, {});
  ASSERT_FALSE(session);
  EXPECT_EQ(session.error().what, "is a link to no file");
}

TEST_F(SessionFolder, FollowsNoLinkThatLeadsOutOfIt) {
  put({"a.wav"});
  test::write_text(root_ / "secret.wav", "x");
  fs::create_symlink(root_ / "secret.wav", folder() / "out.wav");
  fs::create_symlink(folder() / "a.wav", folder() / "in.wav");
  fs::create_symlink(folder() / "gone.wav", folder() / "nowhere.wav");
  const auto session = open_session({folder()}, {});
  ASSERT_TRUE(session);
  EXPECT_EQ(names(*session), (std::vector<std::string>{"a.wav", "in.wav"}));
  EXPECT_EQ(left_out(*session),
            (std::vector<LeftOutOf>{{"nowhere.wav", LeftOut::Why::leads_elsewhere},
                                    {"out.wav", LeftOut::Why::leads_elsewhere}}));
}

TEST_F(SessionFolder, IsNamedAlsoThroughADot) {
  put({"a.wav"});
  const auto session = open_session({folder() / "."}, {});
  ASSERT_TRUE(session);
  EXPECT_EQ(session->name, "lighthouse-hour-12");
}

TEST_F(SessionFolder, IsTheCommonFolderOfAList) {
  fs::create_directory(folder() / "room");
  put({"room/a.wav", "b.wav"});
  const auto session = open_session({folder() / "room" / "a.wav", folder() / "b.wav"}, {});
  ASSERT_TRUE(session);
  EXPECT_EQ(session->name, "lighthouse-hour-12");
  EXPECT_FALSE(session->given_as_folder);
  EXPECT_EQ(names(*session), (std::vector<std::string>{"b.wav", "room/a.wav"}));
}

TEST_F(SessionFolder, TakesAFileOnceHoweverOftenListed) {
  put({"a.wav", "b.wav"});
  const auto session =
      open_session({folder() / "a.wav", folder() / "b.wav", folder() / "." / "a.wav"}, {});
  ASSERT_TRUE(session);
  EXPECT_EQ(names(*session), (std::vector<std::string>{"a.wav", "b.wav"}));
}

TEST_F(SessionFolder, KeepsAListedFileThatIsMissingForTheReaderToReport) {
  put({"a.wav"});
  const auto session = open_session({folder() / "a.wav", folder() / "gone.wav"}, {});
  ASSERT_TRUE(session);
  EXPECT_EQ(names(*session), (std::vector<std::string>{"a.wav", "gone.wav"}));
}

TEST_F(SessionFolder, FindsTheToldMixByPathOrByName) {
  put({"a.wav", "b.wav"});
  for (const fs::path& mix : {folder() / "b.wav", fs::path("b.wav")}) {
    const auto session = open_session({folder()}, mix);
    ASSERT_TRUE(session);
    EXPECT_EQ(session->files.size(), 2U);
    ASSERT_TRUE(session->mix);
    EXPECT_EQ(session->files[*session->mix].name, "b.wav");
  }
}

TEST_F(SessionFolder, TakesAMixFromElsewhere) {
  put({"a.wav"});
  test::write_text(root_ / "elsewhere.wav", "x");
  const auto session = open_session({folder()}, root_ / "elsewhere.wav");
  ASSERT_TRUE(session);
  ASSERT_EQ(session->files.size(), 2U);
  ASSERT_EQ(session->mix, 1U);
  EXPECT_TRUE(fs::path(session->files[1].name).is_absolute());
}

TEST_F(SessionFolder, KnowsTheMixByName) {
  put({"harbour-master.wav", "keeper.wav", "mixdown.wav"});
  const auto session = open_session({folder()}, {});
  ASSERT_TRUE(session);
  const NamedMixes sure = find_named_mixes(session->files);
  EXPECT_TRUE(sure.sure);
  EXPECT_EQ(sure.files, (std::vector<std::size_t>{2}));
  const NamedMixes perhaps = find_named_mixes({session->files[0], session->files[1]});
  EXPECT_FALSE(perhaps.sure);
  EXPECT_EQ(perhaps.files, (std::vector<std::size_t>{0}));
}

TEST_F(SessionFolder, KnowsOneMixInTwoFormats) {
  put({"keeper.wav", "Mixdown.flac", "mixdown.mp3", "mixdown.wav"});
  const auto session = open_session({folder()}, {});
  ASSERT_TRUE(session);
  const NamedMixes mixes = find_named_mixes(session->files);
  ASSERT_EQ(mixes.files.size(), 1U);
  EXPECT_EQ(session->files[mixes.files[0]].name, "mixdown.wav");
  EXPECT_EQ(best_of_each_name(session->files).size(), 2U);
}

TEST_F(SessionFolder, TakesEqualNamesInTwoFoldersForTwoSounds) {
  fs::create_directory(folder() / "room");
  put({"mix.wav", "room/mix.flac"});
  const auto session = open_session({folder() / "mix.wav", folder() / "room" / "mix.flac"}, {});
  ASSERT_TRUE(session);
  EXPECT_EQ(find_named_mixes(session->files).files.size(), 2U);
}

struct RefusalCase {
  const char* name;
  std::vector<std::string> arguments;
  const char* mix;
  ErrorKind kind;
  const char* what;
};

class Refusals : public SessionFolder, public testing::WithParamInterface<RefusalCase> {};

TEST_P(Refusals, SayWhatIsWrong) {
  fs::create_directory(root_ / "empty");
  test::write_text(root_ / "empty" / "notes.txt", "x");
  put({"a.wav"});
  std::vector<fs::path> arguments;
  for (const std::string& argument : GetParam().arguments) arguments.push_back(root_ / argument);
  std::optional<fs::path> mix;
  if (GetParam().mix != nullptr) mix = root_ / GetParam().mix;
  const auto session = open_session(arguments, mix);
  ASSERT_FALSE(session);
  EXPECT_EQ(session.error().kind, GetParam().kind);
  EXPECT_NE(session.error().what.find(GetParam().what), std::string::npos) << session.error().what;
  EXPECT_FALSE(session.error().next_step.empty());
}

INSTANTIATE_TEST_SUITE_P(
    Cases, Refusals,
    testing::Values(
        RefusalCase{"NoArgument", {}, nullptr, ErrorKind::bad_command, "no session"},
        RefusalCase{"MissingFolder", {"gone"}, nullptr, ErrorKind::no_input, "no such"},
        RefusalCase{"EmptyFolder", {"empty"}, nullptr, ErrorKind::no_input, "no audio files"},
        RefusalCase{"TwoFolders",
                    {"empty", "lighthouse-hour-12"},
                    nullptr,
                    ErrorKind::bad_command,
                    "a folder among files"},
        RefusalCase{
            "MissingMix", {"lighthouse-hour-12"}, "gone.wav", ErrorKind::no_input, "no such"}),
    [](const auto& each) { return each.param.name; });

}  // namespace
}  // namespace kilter::session
