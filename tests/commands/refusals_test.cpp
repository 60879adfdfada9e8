// What the program refuses: one clear message, the right exit code, nothing half-written.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>

#include "run_kilter.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;

/// A folder with a mix and a track that are noise, and what may go wrong around it.
class Refusal : public testing::Test {
 protected:
  Refusal() {
    fs::create_directory(show());
    fs::create_directory(root_ / "empty");
    fs::create_directory(root_ / "alone");
    test::write_sound(show() / "keeper.wav", {test::noise(48000, 0.1F, 1)}, 48000);
    test::write_sound(show() / "mixdown.wav", {test::noise(48000, 0.1F, 2)}, 48000);
    test::write_sound(root_ / "alone" / "keeper.wav", {test::noise(48000, 0.1F, 1)}, 48000);
    test::write_text(root_ / "letter.wav", "Dear keepers, my recording is attached.\n");
  }

  fs::path show() const { return root_ / "show"; }
  std::string path(const std::string& name) const { return (root_ / name).string(); }
  std::vector<std::string> everything() const {
    std::vector<std::string> names;
    for (const auto& entry : fs::recursive_directory_iterator(root_.path()))
      names.push_back(entry.path().string());
    std::sort(names.begin(), names.end());
    return names;
  }

  test::TemporaryFolder root_;
};

struct RefusalCase {
  const char* name;
  std::vector<std::string> args;  // "@NAME" stands for a path in the test's folder
  int exit;
  const char* message;
};

class Refusals : public Refusal, public testing::WithParamInterface<RefusalCase> {};

TEST_P(Refusals, SayOneThingAndWriteNothing) {
  std::vector<std::string> args;
  for (const std::string& arg : GetParam().args)
    args.push_back(arg.starts_with('@') ? path(arg.substr(1)) : arg);
  const auto before = everything();
  const test::Told told = test::run_kilter(args);
  EXPECT_EQ(told.exit, GetParam().exit) << told.err;
  EXPECT_EQ(told.out, "");
  EXPECT_NE(told.err.find(GetParam().message), std::string::npos) << told.err;
  EXPECT_EQ(told.err.find("kilter: "), 0U);
  // One message, and one line that says what next.
  EXPECT_LE(std::count(told.err.begin(), told.err.end(), '\n'), 2) << told.err;
  EXPECT_EQ(everything(), before);
}

using Args = std::vector<std::string>;

INSTANTIATE_TEST_SUITE_P(
    CommandLine, Refusals,
    testing::Values(
        RefusalCase{"LineupOverALetter",
                    {"align", "@show", "--lineup", "@letter.wav"},
                    2,
                    "is there already and is no lineup"},
        RefusalCase{"NoCommand", Args{}, 2, "no command given"},
        RefusalCase{"UnknownCommand", Args{"tune", "@show"}, 2, "no command \"tune\""},
        RefusalCase{"UnknownOption", Args{"align", "@show", "--loud"}, 2, "--loud"},
        RefusalCase{"NoSession", Args{"align"}, 2, "SESSION is required"},
        RefusalCase{"NoOut", Args{"conform", "@show"}, 2, "--out is required"},
        RefusalCase{"BadBits", Args{"conform", "@show", "--out", "@o", "--bits", "12"}, 2,
                    "--bits"},
        RefusalCase{"BadRange", Args{"conform", "@show", "--out", "@o", "--range", "x"}, 2,
                    "--range"},
        RefusalCase{"BadRate", Args{"conform", "@show", "--out", "@o", "--rate", "0"}, 2, "--rate"},
        RefusalCase{"RateWithAFraction",
                    Args{"conform", "@show", "--out", "@o", "--rate", "44100.5"}, 2, "--rate"},
        RefusalCase{"RateTooLow", Args{"conform", "@show", "--out", "@o", "--rate", "999"}, 2,
                    "--rate"},
        RefusalCase{"RateTooHigh", Args{"conform", "@show", "--out", "@o", "--rate", "768001"}, 2,
                    "--rate"},
        RefusalCase{"BadLimit", Args{"conform", "@show", "--out", "@o", "--limit-ms", "-1"}, 2,
                    "--limit-ms"},
        RefusalCase{"BadFrameRate", Args{"conform", "@show", "--out", "@o", "--fps", "26"}, 2,
                    "23.976"},
        RefusalCase{"BadTimecode", Args{"conform", "@show", "--out", "@o", "--start-tc", "1:00"}, 2,
                    "--start-tc: \"1:00\" is no timecode: it must be HH:MM:SS:FF"},
        RefusalCase{"DropFrameWhereNoneIs",
                    Args{"conform", "@show", "--out", "@o", "--start-tc", "01:00:00;00"}, 2,
                    "25 drops none"},
        RefusalCase{"ALabelThatIsSkipped",
                    Args{"conform", "@show", "--out", "@o", "--fps", "29.97df", "--start-tc",
                         "01:01:00;00"},
                    2, "drop-frame skips this label"},
        RefusalCase{"NoThreads", Args{"align", "@show", "--threads", "0"}, 2, "--threads"},
        RefusalCase{"FolderAmongFiles", Args{"align", "@show", "@show/keeper.wav"}, 2,
                    "a folder among files"}),
    [](const auto& each) { return each.param.name; });

INSTANTIATE_TEST_SUITE_P(
    Input, Refusals,
    testing::Values(
        RefusalCase{"MissingFolder", Args{"align", "@gone"}, 3, "no such file or folder"},
        RefusalCase{"MissingFile", Args{"survey", "@gone.wav"}, 3, "no such file or folder"},
        RefusalCase{"MissingMix", Args{"align", "@show", "--mix", "@gone.wav", "--lineup", "@l"}, 3,
                    "no such file or folder"},
        RefusalCase{"EmptyFolder", Args{"align", "@empty"}, 3, "no audio files"},
        RefusalCase{"EmptyFolderToConform", Args{"conform", "@empty", "--out", "@o"}, 3,
                    "no audio files"},
        RefusalCase{"OneTrackOnly", Args{"align", "@alone", "--lineup", "@l"}, 3,
                    "only audio file"},
        RefusalCase{"OneTrackOnlyToConform", Args{"conform", "@alone", "--out", "@o"}, 3,
                    "only audio file"},
        RefusalCase{"TextNamedWav", Args{"survey", "@letter.wav"}, 3, "cannot read"},
        RefusalCase{"MissingLineup",
                    Args{"conform", "@show", "--lineup", "@gone.json", "--out", "@o"}, 3,
                    "gone.json"},
        RefusalCase{"MissingCuts", Args{"conform", "@show", "--cuts", "@gone.tsv", "--out", "@o"},
                    3, "gone.tsv"},
        RefusalCase{"CutsThatAreNone",
                    Args{"conform", "@show", "--cuts", "@letter.wav", "--out", "@o"}, 3,
                    "line 1: its columns are not parted by tabs"},
        RefusalCase{"LineupThatIsNone",
                    Args{"conform", "@show", "--lineup", "@letter.wav", "--out", "@o"}, 3,
                    "letter.wav"}),
    [](const auto& each) { return each.param.name; });

INSTANTIATE_TEST_SUITE_P(
    Output, Refusals,
    testing::Values(
        RefusalCase{"LineupBelowAFile",
                    Args{"align", "@show", "--lineup", "@letter.wav/lineup.json"}, 4,
                    "letter.wav/lineup.json"},
        RefusalCase{"OutBelowAFile", Args{"conform", "@show", "--out", "@letter.wav/out"}, 4,
                    "letter.wav/out"},
        RefusalCase{"OutIsAFile", Args{"conform", "@show", "--out", "@letter.wav"}, 4,
                    "letter.wav"},
        // Refused before any work, and another command line mends it: hence 2, not 4.
        RefusalCase{"OutHoldsFiles", Args{"conform", "@show", "--out", "@alone"}, 2,
                    "already holds files"},
        RefusalCase{"OutHoldsSomethingElse",
                    Args{"conform", "@show", "--out", "@alone", "--replace"}, 2, "alone"},
        RefusalCase{"OutInTheSession", Args{"conform", "@show", "--out", "@show/stems"}, 2,
                    "never written to"},
        RefusalCase{"LineupInTheSession", Args{"align", "@show", "--lineup", "@show/l.json"}, 2,
                    "never written to"}),
    [](const auto& each) { return each.param.name; });

TEST_F(Refusal, StopsWithoutATraceWhenInterrupted) {
  const auto before = everything();
  for (const auto& args :
       {Args{"survey", path("show")}, Args{"align", path("show"), "--lineup", path("l.json")},
        Args{"conform", path("show"), "--out", path("o")}}) {
    const test::Told told = test::run_kilter(args, false, true);
    EXPECT_EQ(told.exit, 130);
    EXPECT_EQ(told.out, "");
    EXPECT_EQ(told.err, "kilter: interrupted\n");
  }
  EXPECT_EQ(everything(), before);
}

TEST_F(Refusal, TellsEachBrokenFileWhenAllAre) {
  fs::copy_file(root_ / "letter.wav", root_ / "empty" / "a.wav");
  test::write_text(root_ / "empty" / "b.wav", "");
  const test::Told told = test::run_kilter({"survey", path("empty")});
  EXPECT_EQ(told.exit, 3);
  EXPECT_NE(told.err.find("cannot read \"a.wav\""), std::string::npos) << told.err;
  EXPECT_NE(told.err.find("cannot read \"b.wav\": the file is empty"), std::string::npos);
}

TEST_F(Refusal, NoneWhenHelpOrVersionIsAskedFor) {
  for (const auto& args :
       {Args{"--help"}, Args{"survey", "--help"}, Args{"align", "-h"}, Args{"conform", "--help"}}) {
    const test::Told told = test::run_kilter(args);
    EXPECT_EQ(told.exit, 0);
    EXPECT_EQ(told.err, "");
    EXPECT_NE(told.out.find("Examples:"), std::string::npos);
    std::istringstream lines(told.out);
    for (std::string line; std::getline(lines, line);) EXPECT_LE(line.size(), 80U) << line;
  }
  const test::Told version = test::run_kilter({"--version"});
  EXPECT_EQ(version.exit, 0);
  EXPECT_EQ(version.out.find("kilter "), 0U);
}

}  // namespace
}  // namespace kilter
