// What lies in a session's folder and is not looked at is told wherever a person or a script looks.
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "run_kilter.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;

/// Louder and softer as talk is, so that nothing is to be said of it.
test::Samples bursts(std::uint32_t seed) {
  auto samples = test::noise(96000, 0.1F, seed);
  for (std::size_t i = 0; i < samples.size(); ++i)
    if (i / 12000 % 2 == seed % 2) samples[i] *= 0.001F;
  return samples;
}

class LeftOut : public testing::Test {
 protected:
  LeftOut() {
    fs::create_directory(show());
    test::write_sound(show() / "mixdown.wav", {bursts(1)}, 48000);
    test::write_sound(show() / "keeper.wav", {bursts(2)}, 48000);
  }
  fs::path show() const { return work_ / "show"; }
  test::Told survey(bool json) const {
    std::vector<std::string> args{"survey", show().string()};
    if (json) args.emplace_back("--json");
    return test::run_kilter(args);
  }

  test::TemporaryFolder work_;
};

TEST_F(LeftOut, IsAFileThatIsStillBeingCopiedAndAPersonMustSee) {
  fs::copy_file(show() / "keeper.wav", show() / "mate.wav.part");
  ASSERT_EQ(::mkfifo((show() / "live.wav").c_str(), 0600), 0);
  const test::Told table = survey(false);
  EXPECT_EQ(table.exit, 1);
  EXPECT_NE(table.out.find("Not looked at: \"live.wav\" (no ordinary file), \"mate.wav.part\""),
            std::string::npos)
      << table.out;
  const auto findings = nlohmann::json::parse(survey(true).out).at("findings");
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_EQ(findings[0].at("code"), "left-out");
}

TEST_F(LeftOut, IsAFolderWithSoundWhichIsToldAndNoMore) {
  fs::create_directory(show() / "card");
  EXPECT_EQ(survey(false).exit, 0);
  fs::copy_file(show() / "keeper.wav", show() / "card" / "mate.wav");
  const test::Told table = survey(false);
  EXPECT_EQ(table.exit, 0);
  EXPECT_NE(table.out.find("Not looked into, though they hold audio files: \"card\""),
            std::string::npos)
      << table.out;
}

TEST_F(LeftOut, IsNothingOfWhatLooksLikeSoundUnderAnotherName) {
  fs::copy_file(show() / "keeper.wav", show() / "mate");
  EXPECT_EQ(nlohmann::json::parse(survey(true).out).at("files").size(), 3U);
}

}  // namespace
}  // namespace kilter
