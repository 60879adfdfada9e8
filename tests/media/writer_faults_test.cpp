// Disks that fail, at every place where they can.
#include <gtest/gtest.h>

#include <algorithm>
#include <cerrno>
#include <string>
#include <vector>

#include "kilter/base/file_calls.h"
#include "kilter/base/sync_folder.h"
#include "kilter/media/audio_writer.h"
#include "support/calls_that_fail.h"
#include "support/replaced_file_calls.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::media {
namespace {

namespace fs = std::filesystem;
using test::CallsThatFail;
using test::ReplacedFileCalls;
using test::TemporaryFolder;

WriterOptions options_of(Container container) {
  WriterOptions options;
  options.rate = {48000.0};
  options.container = container;
  options.notes = BroadcastNotes{};
  options.notes->cues = {{{1000}, "the lamp"}};
  return options;
}

/// Writes noise of a few of the writer's buffers. Empty, or the error.
std::optional<Error> write_noise(const fs::path& file, const WriterOptions& options) {
  static const std::vector<float> sound = test::noise(300000, 0.9F, 5);
  auto writer = AudioWriter::create(file, options);
  if (!writer) return writer.error();
  for (std::size_t at = 0; at < sound.size(); at += 10000)
    if (auto done = writer->write(std::span(sound).subspan(at, 10000)); !done) return done.error();
  if (auto done = writer->finish(); !done) return done.error();
  return std::nullopt;
}

class Faults : public testing::TestWithParam<Container> {};

TEST_P(Faults, OfEveryCallAreToldAndLeaveNothing) {
  constexpr int kMost = 100;
  int failing = 1;
  for (; failing < kMost; ++failing) {
    const TemporaryFolder folder;
    CallsThatFail calls(failing);
    const ReplacedFileCalls replaced(calls);
    const auto error = write_noise(folder / "keeper.wav", options_of(GetParam()));
    EXPECT_EQ(calls.open_count, 0) << failing;
    if (!error) break;
    const std::string where = "call " + std::to_string(failing) + ", " +
                              calls.calls.at(static_cast<std::size_t>(failing - 1));
    EXPECT_EQ(error->kind, ErrorKind::cannot_write) << where;
    EXPECT_EQ(error->file, folder / "keeper.wav") << where;
    EXPECT_NE(error->what.find("Input/output error"), std::string::npos) << where << error->what;
    EXPECT_TRUE(fs::is_empty(folder.path())) << where;
  }
  // open, some writes, sync, close, rename
  EXPECT_GT(failing, 7);
  EXPECT_LT(failing, kMost);
}

TEST_P(Faults, LeaveAnEarlierFileAsItWas) {
  for (int failing = 1; failing <= 5; ++failing) {
    const TemporaryFolder folder;
    test::write_text(folder / "keeper.wav", "an earlier file");
    CallsThatFail calls(failing, ENOSPC);
    const ReplacedFileCalls replaced(calls);
    EXPECT_TRUE(write_noise(folder / "keeper.wav", options_of(GetParam())));
    EXPECT_EQ(test::read_text(folder / "keeper.wav"), "an earlier file");
  }
}

TEST_P(Faults, TheDiskHoldsTheFileBeforeItGetsItsName) {
  const TemporaryFolder folder;
  CallsThatFail calls;
  const ReplacedFileCalls replaced(calls);
  EXPECT_FALSE(write_noise(folder / "keeper.wav", options_of(GetParam())));
  EXPECT_EQ(std::count(calls.calls.begin(), calls.calls.end(), "sync"), 1);
  ASSERT_GE(calls.calls.size(), 3U);
  EXPECT_EQ(std::vector(calls.calls.end() - 3, calls.calls.end()),
            (std::vector<std::string>{"sync", "close", "rename"}));
}

/// Every other call is interrupted, and no write takes more than a thousand bytes.
class CallsOfABusySystem : public FileCalls {
 public:
  int open(const char* path, int flags, mode_t mode) override {
    return interrupted() ? -1 : FileCalls::open(path, flags, mode);
  }
  ssize_t write_at(int descriptor, const void* bytes, std::size_t count, off_t offset) override {
    if (interrupted()) return -1;
    return FileCalls::write_at(descriptor, bytes, std::min<std::size_t>(count, 1000), offset);
  }
  int sync(int descriptor) override { return interrupted() ? -1 : FileCalls::sync(descriptor); }

 private:
  bool interrupted() {
    errno = EINTR;
    return (++calls_ % 2) != 0;
  }
  int calls_{0};
};

TEST_P(Faults, InterruptionsAndShortWritesAreNone) {
  const TemporaryFolder folder;
  EXPECT_FALSE(write_noise(folder / "plain", options_of(GetParam())));
  CallsOfABusySystem busy;
  const ReplacedFileCalls replaced(busy);
  EXPECT_FALSE(write_noise(folder / "busy", options_of(GetParam())));
  EXPECT_EQ(test::read_text(folder / "busy"), test::read_text(folder / "plain"));
}

INSTANTIATE_TEST_SUITE_P(All, Faults,
                         testing::Values(Container::wav, Container::rf64, Container::flac),
                         [](const auto& each) -> std::string {
                           if (each.param == Container::wav) return "Wav";
                           return each.param == Container::rf64 ? "Rf64" : "Flac";
                         });

/// The one call that fails is sync().
class CallsWithoutSync : public FileCalls {
 public:
  explicit CallsWithoutSync(int code) : code_(code) {}
  int sync(int /*descriptor*/) override {
    errno = code_;
    return -1;
  }

 private:
  int code_;
};

TEST(AFileSystemThatKnowsNoSync, IsWrittenToAllTheSame) {
  for (const int code : {EINVAL, ENOTSUP}) {
    const TemporaryFolder folder;
    CallsWithoutSync calls(code);
    const ReplacedFileCalls replaced(calls);
    EXPECT_FALSE(write_noise(folder / "keeper.wav", options_of(Container::wav)));
    EXPECT_TRUE(fs::exists(folder / "keeper.wav"));
    EXPECT_TRUE(sync_folder(folder.path()));
  }
}

TEST(SyncFolder, TellsWhenTheDiskFailsOrNoFolderIsThere) {
  const TemporaryFolder folder;
  EXPECT_TRUE(sync_folder(folder.path()));
  EXPECT_TRUE(sync_folder({}));
  const auto missing = sync_folder(folder / "missing");
  ASSERT_FALSE(missing);
  EXPECT_EQ(missing.error().kind, ErrorKind::cannot_write);
  EXPECT_EQ(missing.error().file, folder / "missing");
  CallsWithoutSync calls(EIO);
  const ReplacedFileCalls replaced(calls);
  EXPECT_FALSE(sync_folder(folder.path()));
}

TEST(SyncFolder, LeavesNothingOpen) {
  const TemporaryFolder folder;
  for (const int failing : {0, 1, 2, 3}) {
    CallsThatFail calls(failing);
    const ReplacedFileCalls replaced(calls);
    EXPECT_EQ(static_cast<bool>(sync_folder(folder.path())), failing == 0 || failing == 3);
    EXPECT_EQ(calls.open_count, 0) << failing;
  }
}

/// A disk that takes nothing and says nothing.
class CallsThatTakeNothing : public FileCalls {
 public:
  ssize_t write_at(int /*descriptor*/, const void* /*bytes*/, std::size_t /*count*/,
                   off_t /*offset*/) override {
    return 0;
  }
};

TEST(ADiskThatTakesNothing, IsFullAndNotWaitedFor) {
  const TemporaryFolder folder;
  CallsThatTakeNothing calls;
  const ReplacedFileCalls replaced(calls);
  const auto error = write_noise(folder / "keeper.wav", options_of(Container::wav));
  ASSERT_TRUE(error);
  EXPECT_NE(error->what.find("No space left"), std::string::npos) << error->what;
  EXPECT_TRUE(fs::is_empty(folder.path()));
}

}  // namespace
}  // namespace kilter::media
