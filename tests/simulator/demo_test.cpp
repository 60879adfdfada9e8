#include <gtest/gtest.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "kilter/media/audio_file.h"
#include "support/temporary_folder.h"

namespace kilter::simulator {
namespace {

namespace fs = std::filesystem;
const fs::path kData = KILTER_TESTDATA_FOLDER;

TEST(DemoSession, IsSmallEnoughForTheRepository) {
  std::uintmax_t sum = 0;
  int files = 0;
  for (const auto& entry : fs::directory_iterator(kData / "lighthouse-hour-12")) {
    EXPECT_LT(entry.file_size(), 2U << 20) << entry.path();
    sum += entry.file_size();
    ++files;
  }
  EXPECT_EQ(files, 6);
  EXPECT_LT(sum, 8U << 20);
}

TEST(DemoSession, HoldsTheFilesOfItsTruth) {
  const auto truth =
      nlohmann::json::parse(test::read_text(kData / "lighthouse-hour-12.truth.json"));
  auto files = truth["tracks"];
  ASSERT_EQ(files.size(), 5U);
  files.push_back(truth["mix"]);
  for (const auto& file : files) {
    const std::string name = file["file"];
    const auto audio = media::open_audio(kData / "lighthouse-hour-12" / name);
    ASSERT_TRUE(audio) << name;
    EXPECT_EQ(audio->info.rate.hz, file["rate"].get<double>()) << name;
    EXPECT_EQ(audio->info.claimed_length.n, file["frames"].get<std::int64_t>()) << name;
  }
}

}  // namespace
}  // namespace kilter::simulator
