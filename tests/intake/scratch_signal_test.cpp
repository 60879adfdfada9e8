#include "kilter/intake/scratch_signal.h"

#include <gtest/gtest.h>
#include <sys/resource.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <string>
#include <thread>

#include "kilter/base/system_words.h"
#include "kilter/intake/intake.h"
#include "support/file_size_limit.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::intake {
namespace {

using test::Samples;

std::unique_ptr<ScratchSignal> stored(const Samples& samples, std::size_t piece,
                                      const std::filesystem::path& folder) {
  auto signals = ScratchSignal::create(folder, 1);
  if (!signals) return nullptr;
  std::unique_ptr<ScratchSignal> signal = std::move(signals->front());
  for (std::size_t at = 0; at < samples.size(); at += piece) {
    const auto part = std::span(samples).subspan(at, std::min(piece, samples.size() - at));
    if (!signal->append(part)) return nullptr;
  }
  if (!signal->finish()) return nullptr;
  return signal;
}

/// While it lives, the process opens no more files.
class NoMoreFiles {
 public:
  NoMoreFiles() {
    getrlimit(RLIMIT_NOFILE, &before_);
    rlimit limit = before_;
    limit.rlim_cur = 0;
    setrlimit(RLIMIT_NOFILE, &limit);
  }
  NoMoreFiles(const NoMoreFiles&) = delete;
  NoMoreFiles& operator=(const NoMoreFiles&) = delete;
  ~NoMoreFiles() { setrlimit(RLIMIT_NOFILE, &before_); }

 private:
  rlimit before_{};
};

TEST(ScratchSignal, GivesBackWhatWasAppendedFromAnyPlace) {
  const test::TemporaryFolder folder;
  const Samples samples = test::noise(300001, 0.3F, 1);
  const auto signal = stored(samples, 777, folder.path());
  ASSERT_TRUE(signal);
  ASSERT_EQ(signal->frames(), 300001);
  for (const std::int64_t first :
       {-600, -1, 0, 1, 511, 512, 513, 8191, 130559, 130560, 250000, 299999, 300001, 310000})
    for (const std::size_t count : {1U, 2U, 512U, 4096U, 20000U, 200000U}) {
      Samples got(count, 9.0F);
      ASSERT_TRUE(signal->read(first, got));
      for (std::size_t i = 0; i < count; ++i) {
        const std::int64_t at = first + static_cast<std::int64_t>(i);
        const bool inside = at >= 0 && at < signal->frames();
        const float expected = inside ? samples[static_cast<std::size_t>(at)] : 0.0F;
        // Half a step of 1/32767 of the block's peak, which is at most 0.3.
        ASSERT_NEAR(got[i], expected, 0.3F / 32767.0F * 0.51F) << first << " + " << i;
      }
    }
}

TEST(ScratchSignal, KeepsQuietPassagesAsFinelyAsLoudOnes) {
  const test::TemporaryFolder folder;
  Samples samples = test::noise(4096, 1e-4F, 2);
  samples.at(100) = 1.0F;  // only the block around it is stored more coarsely
  const auto signal = stored(samples, 4096, folder.path());
  ASSERT_TRUE(signal);
  Samples got(3584);
  ASSERT_TRUE(signal->read(512, got));
  for (std::size_t i = 0; i < got.size(); ++i)
    ASSERT_NEAR(got[i], samples[512 + i], 1e-4F / 32767.0F * 0.51F);
}

TEST(ScratchSignal, LeavesNoFileBehind) {
  const test::TemporaryFolder folder;
  const auto signal = stored(test::noise(5000, 0.5F, 3), 5000, folder.path());
  ASSERT_TRUE(signal);
  EXPECT_TRUE(std::filesystem::is_empty(folder.path()));
}

TEST(ScratchSignal, CanBeReadByManyThreads) {
  const test::TemporaryFolder folder;
  const Samples samples = test::noise(100000, 0.3F, 4);
  const auto signal = stored(samples, 3000, folder.path());
  ASSERT_TRUE(signal);
  std::vector<int> wrong(4, 0);
  std::vector<std::thread> threads;
  for (std::size_t t = 0; t < wrong.size(); ++t)
    threads.emplace_back([&, t] {
      Samples got(1000);
      for (std::size_t at = t * 13; at + 1000 <= samples.size(); at += 997) {
        const bool read = static_cast<bool>(signal->read(static_cast<std::int64_t>(at), got));
        const float difference = std::fabs(got[500] - samples[at + 500]);
        if (!read || difference > 1e-5F) ++wrong[t];
      }
    });
  for (std::thread& thread : threads) thread.join();
  EXPECT_EQ(wrong, std::vector<int>(4, 0));
}

TEST(ScratchSignal, ManyShareAFileWithoutMeeting) {
  const test::TemporaryFolder folder;
  auto signals = ScratchSignal::create(folder.path(), 3);
  ASSERT_TRUE(signals);
  // Of unequal length, and written out of step.
  const std::vector<Samples> sounds{test::noise(270000, 0.3F, 1), test::noise(100, 0.3F, 2),
                                    test::noise(140000, 0.3F, 3)};
  for (const std::size_t i : {2U, 0U, 1U}) {
    ASSERT_TRUE(signals->at(i)->append(sounds[i]));
    ASSERT_TRUE(signals->at(i)->finish());
  }
  for (std::size_t i = 0; i < sounds.size(); ++i) {
    Samples got(sounds[i].size());
    ASSERT_TRUE(signals->at(i)->read(0, got));
    for (std::size_t n = 0; n < got.size(); ++n)
      ASSERT_NEAR(got[n], sounds[i][n], 0.3F / 32767.0F * 0.51F) << i << ", " << n;
  }
  signals->erase(signals->begin(), signals->begin() + 2);
  Samples got(100);
  ASSERT_TRUE(signals->front()->read(139900, got));  // the file outlives its first signals
  EXPECT_NEAR(got[99], sounds[2][139999], 0.3F / 32767.0F * 0.51F);
}

void expect_refusal(const Error& error, const std::string& what, const std::string& next_step) {
  EXPECT_EQ(error.kind, ErrorKind::cannot_write);
  EXPECT_NE(error.what.find(what), std::string::npos) << error.what;
  EXPECT_NE(error.next_step.find(next_step), std::string::npos) << error.next_step;
}

TEST(ScratchSignal, SaysWhichFolderIsMissing) {
  const test::TemporaryFolder folder;
  test::write_text(folder / "file", "not a folder");
  for (const char* name : {"file", "missing"}) {
    const auto signals = ScratchSignal::create(folder / name, 1);
    ASSERT_FALSE(signals);
    expect_refusal(signals.error(), "is missing", "TMPDIR");
    EXPECT_EQ(signals.error().file, folder / name);
  }
}

TEST(ScratchSignal, SaysThatTooManyFilesAreOpen) {
  const test::TemporaryFolder folder;
  (void)system_words(EMFILE);  // a sanitizer's first look at what it calls takes a handle
  const auto signals = [&] {
    const NoMoreFiles limit;
    return ScratchSignal::create(folder.path(), 1);
  }();
  ASSERT_FALSE(signals);
  expect_refusal(signals.error(), "too many open files", "ulimit -n");
}

TEST(ScratchSignal, SaysWhenAFolderMayNotBeWrittenTo) {
  if (geteuid() == 0) GTEST_SKIP() << "root may write anywhere";
  const test::TemporaryFolder folder;
  std::filesystem::permissions(folder.path(), std::filesystem::perms::owner_read);
  const auto signals = ScratchSignal::create(folder.path(), 1);
  std::filesystem::permissions(folder.path(), std::filesystem::perms::owner_all);
  ASSERT_FALSE(signals);
  expect_refusal(signals.error(), "cannot be written to", "TMPDIR");
}

TEST(ScratchSignal, SaysWhereThereIsNoRoom) {
  const test::TemporaryFolder folder;
  auto signals = ScratchSignal::create(folder.path(), 1);
  ASSERT_TRUE(signals);
  const test::FileSizeLimit limit(60000);
  const auto written = signals->front()->append(test::noise(200000, 0.3F, 1));
  ASSERT_FALSE(written);
  expect_refusal(written.error(), "no room", "TMPDIR");
}

std::span<const std::byte> bytes_of(const std::string& text) {
  return std::as_bytes(std::span(text));
}

TEST(ScratchStores, GiveBackWhatWasWrittenEachItsOwnAndLeaveNothingInTheFolder) {
  const test::TemporaryFolder folder;
  const OpenByteStore open_store = scratch_stores(folder.path());
  auto one = open_store();
  auto other = open_store();
  ASSERT_TRUE(one && other);
  ASSERT_TRUE((*one)->write(0, bytes_of("foghorn")));
  ASSERT_TRUE((*other)->write(0, bytes_of("lantern")));
  ASSERT_TRUE((*one)->write(3, bytes_of("s at dusk")));
  std::string got(12, '?');
  ASSERT_TRUE((*one)->read(0, std::as_writable_bytes(std::span(got))));
  EXPECT_EQ(got, "fogs at dusk");
  EXPECT_TRUE(std::filesystem::is_empty(folder.path()));
}

TEST(ScratchStores, SayWhereThereIsNoRoomAndWhatWasNeverWritten) {
  const test::TemporaryFolder folder;
  auto store = scratch_stores(folder.path())();
  ASSERT_TRUE(store);
  std::string got(12, '?');
  const auto read = (*store)->read(0, std::as_writable_bytes(std::span(got)));
  ASSERT_FALSE(read);
  EXPECT_EQ(read.error().kind, ErrorKind::unreadable);
  const test::FileSizeLimit limit(60000);
  const auto written = (*store)->write(59999, bytes_of("keeper"));
  ASSERT_FALSE(written);
  expect_refusal(written.error(), "no room", "TMPDIR");
}

TEST(ScratchStores, SayWhichFolderIsMissing) {
  const test::TemporaryFolder folder;
  const auto store = scratch_stores(folder / "missing")();
  ASSERT_FALSE(store);
  expect_refusal(store.error(), "is missing", "TMPDIR");
}

TEST(MeanSignal, IsHalfTheSumOfTwo) {
  auto left = std::make_shared<MemorySignal>(Samples{1.0F, 2.0F, 3.0F});
  auto right = std::make_shared<MemorySignal>(Samples{3.0F, -2.0F, 0.0F});
  const MeanSignal mean({left, right});
  Samples got(5);
  ASSERT_TRUE(mean.read(-1, got));
  EXPECT_EQ(got, (Samples{0.0F, 2.0F, 0.0F, 1.5F, 0.0F}));
}

}  // namespace
}  // namespace kilter::intake
