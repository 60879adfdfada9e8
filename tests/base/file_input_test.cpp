#include "kilter/base/file_input.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cerrno>
#include <random>
#include <string>

#include "support/reads_that_fail.h"
#include "support/replaced_file_calls.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

using test::ReadsThatFail;

std::string some_bytes(std::size_t count) {
  std::mt19937 generator(7);
  std::string bytes(count, '\0');
  for (char& byte : bytes) byte = static_cast<char>(generator());
  return bytes;
}

class ReadingAhead : public testing::Test {
 protected:
  void SetUp() override { test::write_text(file_, bytes_); }
  /// What is there, or less of it.
  std::string read(FileInput& input, std::size_t count, std::size_t offset) const {
    std::string piece(count, '\0');
    piece.resize(
        static_cast<std::size_t>(input.read_ahead_at(piece, static_cast<std::int64_t>(offset))));
    return piece;
  }
  std::string truth(std::size_t count, std::size_t offset) const {
    return offset < bytes_.size() ? bytes_.substr(offset, count) : std::string();
  }

  test::TemporaryFolder folder_;
  std::filesystem::path file_{folder_ / "keeper.wav"};
  std::string bytes_{some_bytes(300'001)};
};

TEST_F(ReadingAhead, GivesTheBytesOfTheFileWhereverIsAsked) {
  FileInput input(file_);
  std::mt19937 generator(8);
  std::size_t at = 0;
  for (int i = 0; i < 5000; ++i) {
    if (generator() % 8 == 0) at = generator() % 310'000;
    const std::size_t count = generator() % 50 == 0 ? generator() % 200'000 : generator() % 9000;
    const std::string piece = read(input, count, at);
    ASSERT_EQ(piece, truth(count, at)) << count << " from " << at;
    at += piece.size();
  }
  EXPECT_EQ(input.problem(), 0);
}

TEST_F(ReadingAhead, CallsTheSystemSeldomForSmallPieces) {
  ReadsThatFail calls(-1);
  const test::ReplacedFileCalls replaced(calls);
  FileInput input(file_);
  for (std::size_t at = 0; at < bytes_.size(); at += 100)
    ASSERT_EQ(read(input, 100, at), truth(100, at));
  EXPECT_LT(calls.calls(), 20);
}

TEST_F(ReadingAhead, TellsAPlaceThatCannotBeReadOnceItIsAskedFor) {
  // The calls: the file is opened, 64 kB are read, and again.
  ReadsThatFail calls(3, ReadsThatFail::Which::all_from_there_on);
  const test::ReplacedFileCalls replaced(calls);
  FileInput input(file_);
  std::size_t at = 0;
  while (input.problem() == 0) {
    const std::string piece = read(input, 999, at);
    ASSERT_EQ(piece, truth(piece.size(), at));
    at += piece.size();
  }
  EXPECT_EQ(at, 65536U);
  EXPECT_EQ(input.problem(), EIO);
}

/// Half of what it asked for comes back, and what follows cannot be read.
class BadPlace : public FileCalls {
 public:
  ssize_t read_at(int descriptor, void* bytes, std::size_t count, off_t offset) override {
    constexpr off_t kBad = 100'000;
    if (offset < kBad)
      return FileCalls::read_at(descriptor, bytes,
                                std::min(count, static_cast<std::size_t>(kBad - offset)), offset);
    errno = EIO;
    return -1;
  }
};

TEST_F(ReadingAhead, LosesNothingBeforeAPlaceThatCannotBeRead) {
  BadPlace calls;
  const test::ReplacedFileCalls replaced(calls);
  FileInput input(file_);
  std::size_t at = 0;
  for (; at + 1000 <= 100'000; at += 1000) {
    ASSERT_EQ(read(input, 1000, at), truth(1000, at));
    ASSERT_EQ(input.problem(), 0) << at;
  }
  EXPECT_EQ(read(input, 1000, at), "");
  EXPECT_EQ(input.problem(), EIO);
  EXPECT_EQ(read(input, 1000, 0), truth(1000, 0));
}

TEST_F(ReadingAhead, EndsWhereAFileWasCutWhileItWasRead) {
  FileInput input(file_);
  EXPECT_EQ(read(input, 1000, 0), truth(1000, 0));
  std::filesystem::resize_file(file_, 150'500);
  std::size_t at = 1000;
  for (std::string piece; !(piece = read(input, 1000, at)).empty(); at += piece.size())
    ASSERT_EQ(piece, truth(piece.size(), at));
  EXPECT_EQ(at, 150'500U);
  EXPECT_EQ(input.problem(), 0);
}

}  // namespace
}  // namespace kilter
