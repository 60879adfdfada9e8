#include "kilter/intake/scratch_signal.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <thread>

#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::intake {
namespace {

using test::Samples;

std::unique_ptr<ScratchSignal> stored(const Samples& samples, std::size_t piece,
                                      const std::filesystem::path& folder) {
  auto signal = ScratchSignal::create(folder);
  if (!signal) return nullptr;
  for (std::size_t at = 0; at < samples.size(); at += piece) {
    const auto part = std::span(samples).subspan(at, std::min(piece, samples.size() - at));
    if (!(*signal)->append(part)) return nullptr;
  }
  if (!(*signal)->finish()) return nullptr;
  return *std::move(signal);
}

TEST(ScratchSignal, GivesBackWhatWasAppendedFromAnyPlace) {
  const test::TemporaryFolder folder;
  const Samples samples = test::noise(50001, 0.3F, 1);
  const auto signal = stored(samples, 777, folder.path());
  ASSERT_TRUE(signal);
  ASSERT_EQ(signal->frames(), 50001);
  for (const std::int64_t first : {-600, -1, 0, 1, 511, 512, 513, 8191, 40000, 49999, 50001, 60000})
    for (const std::size_t count : {1U, 2U, 512U, 4096U, 20000U}) {
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

TEST(ScratchSignal, SaysWhereThereIsNoRoom) {
  const test::TemporaryFolder folder;
  test::write_text(folder / "file", "not a folder");
  const auto signal = ScratchSignal::create(folder / "file");
  ASSERT_FALSE(signal);
  EXPECT_EQ(signal.error().kind, ErrorKind::cannot_write);
  EXPECT_NE(signal.error().next_step.find("TMPDIR"), std::string::npos);
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
