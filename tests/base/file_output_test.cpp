#include "kilter/base/file_output.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <string>
#include <vector>

#include "support/replaced_file_calls.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

/// Notes what the disk was asked to begin with, and how much was written by then.
class Started : public FileCalls {
 public:
  struct Range {
    off_t from;
    off_t to;
    off_t written;
  };

  ssize_t write_at(int descriptor, const void* bytes, std::size_t count, off_t offset) override {
    const ssize_t got = FileCalls::write_at(descriptor, bytes, count, offset);
    written_ = std::max(written_, offset + static_cast<off_t>(got));
    return got;
  }
  void start_writing(int descriptor, off_t offset, off_t count) override {
    ranges.push_back({offset, offset + count, written_});
    FileCalls::start_writing(descriptor, offset, count);
  }

  std::vector<Range> ranges;

 private:
  off_t written_{0};
};

class WritingBehind : public testing::Test {
 protected:
  void write(std::size_t megabytes, bool completes = true) {
    const std::string piece(1 << 20U, 'x');
    FileOutput output(folder_ / "stem.wav");
    for (std::size_t i = 0; i < megabytes; ++i) ASSERT_TRUE(output.write(piece));
    ASSERT_TRUE(output.hand_over());
    if (completes) {
      ASSERT_TRUE(output.complete() && output.put_in_place());
    }
  }

  test::TemporaryFolder folder_;
  Started calls_;
  const test::ReplacedFileCalls replaced_{calls_};
};

TEST_F(WritingBehind, HasTheDiskBeginWhileMoreComes) {
  write(30);
  ASSERT_GE(calls_.ranges.size(), 3U);
  off_t up_to = 0;
  for (const Started::Range& range : calls_.ranges) {
    EXPECT_EQ(range.from, up_to);
    EXPECT_LE(range.to, range.written);
    up_to = range.to;
  }
  EXPECT_LT(calls_.ranges.front().to, 15 << 20U);
  EXPECT_EQ(up_to, 30 << 20U);
  EXPECT_EQ(std::filesystem::file_size(folder_ / "stem.wav"), 30U << 20U);
}

TEST_F(WritingBehind, LeavesASmallFileToTheSystem) {
  write(2);
  EXPECT_TRUE(calls_.ranges.empty());
}

TEST_F(WritingBehind, LeavesNothingOfWhatWasHandedOverButNotCompleted) {
  write(9, false);
  EXPECT_TRUE(std::filesystem::is_empty(folder_ / ""));
}

TEST_F(WritingBehind, TakesMoreAfterItHandedOver) {
  FileOutput output(folder_ / "stem.wav");
  ASSERT_TRUE(output.write(std::string("lamp ")) && output.hand_over());
  ASSERT_TRUE(output.write(std::string("lit")) && output.complete() && output.put_in_place());
  EXPECT_EQ(test::read_text(folder_ / "stem.wav"), "lamp lit");
}

}  // namespace
}  // namespace kilter
