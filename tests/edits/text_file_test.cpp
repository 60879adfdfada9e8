#include "kilter/edits/text_file.h"

#include <gtest/gtest.h>
#include <sys/stat.h>

#include <filesystem>
#include <thread>

#include "support/temporary_folder.h"

namespace kilter::edits {
namespace {

namespace fs = std::filesystem;

TEST(WriteText, GoesIntoAPipeAndLeavesItThere) {
  const test::TemporaryFolder folder;
  const fs::path pipe = folder / "pipe";
  ASSERT_EQ(::mkfifo(pipe.c_str(), 0600), 0);
  std::string heard;
  std::thread reader([&] {
    std::FILE* const file = std::fopen(pipe.c_str(), "rb");
    char block[64];
    for (std::size_t got = 1; file != nullptr && got > 0;) {
      got = std::fread(block, 1, sizeof block, file);
      heard.append(block, got);
    }
    if (file != nullptr) std::fclose(file);
  });
  const auto written = write_text(pipe, "a lamp, three keepers");
  reader.join();
  EXPECT_TRUE(written);
  EXPECT_EQ(heard, "a lamp, three keepers");
  EXPECT_TRUE(fs::is_fifo(pipe));
}

TEST(WriteText, SaysThatADeviceTakesNothingAndLeavesItThere) {
  const fs::path device = "/dev/full";
  if (!fs::is_character_file(device)) GTEST_SKIP() << "no device that is always full";
  const auto written = write_text(device, "text");
  ASSERT_FALSE(written);
  EXPECT_EQ(written.error().kind, ErrorKind::cannot_write);
  EXPECT_TRUE(fs::is_character_file(device));
}

TEST(WriteText, LeavesALinkAndReplacesWhatItLeadsTo) {
  const test::TemporaryFolder folder;
  ASSERT_TRUE(write_text(folder / "there.json", "old"));
  fs::create_symlink("there.json", folder / "link.json");
  ASSERT_TRUE(write_text(folder / "link.json", "new"));
  EXPECT_TRUE(fs::is_symlink(folder / "link.json"));
  EXPECT_EQ(*read_text(folder / "there.json"), "new");
}

TEST(WriteText, TakesNoFoldersPlace) {
  const test::TemporaryFolder folder;
  fs::create_directory(folder / "lists");
  EXPECT_FALSE(write_text(folder / "lists", "text"));
  EXPECT_TRUE(fs::is_directory(folder / "lists"));
}

}  // namespace
}  // namespace kilter::edits
