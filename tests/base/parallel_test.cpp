#include "kilter/base/parallel.h"

#include <gtest/gtest.h>
#include <pthread.h>

#include <atomic>
#include <chrono>
#include <cstddef>
#include <optional>
#include <stdexcept>
#include <system_error>
#include <thread>
#include <vector>

namespace kilter {
namespace {

/// While it lives, a new thread asks for a stack larger than any address space.
class NoNewThreads {
 public:
  NoNewThreads() {
#ifdef __GLIBC__
    pthread_getattr_default_np(&before_);
    pthread_attr_t vast = before_;
    pthread_attr_setstacksize(&vast, std::size_t{1} << 50);
    pthread_setattr_default_np(&vast);
#endif
  }
  NoNewThreads(const NoNewThreads&) = delete;
  NoNewThreads& operator=(const NoNewThreads&) = delete;
  ~NoNewThreads() {
#ifdef __GLIBC__
    pthread_setattr_default_np(&before_);
#endif
  }

 private:
  [[maybe_unused]] pthread_attr_t before_{};
};

bool can_start_threads() {
  try {
    std::thread([] {}).join();
    return true;
  } catch (const std::system_error&) {
    return false;
  }
}

TEST(ParallelFor, RunsEveryIndexOnceForAnyThreadCount) {
  for (const int threads : {1, 2, 7}) {
    std::vector<int> runs(100, 0);
    parallel_for(100, threads, [&](int i) { ++runs[static_cast<std::size_t>(i)]; });
    for (const int count : runs) EXPECT_EQ(count, 1);
  }
}

TEST(ParallelWith, GivesEachThreadAToolOfItsOwn) {
  for (const int threads : {1, 2, 7}) {
    std::atomic<int> made{0};
    std::vector<int> runs(100, 0);
    const auto make = [&] {
      ++made;
      return std::optional<std::thread::id>();
    };
    parallel_with(100, threads, make, [&](int i, std::optional<std::thread::id>& owner) {
      if (!owner) owner = std::this_thread::get_id();
      EXPECT_EQ(*owner, std::this_thread::get_id());
      std::this_thread::sleep_for(std::chrono::microseconds(100));
      ++runs[static_cast<std::size_t>(i)];
    });
    EXPECT_LE(made, threads);
    EXPECT_EQ(runs, std::vector<int>(100, 1));
  }
}

TEST(ParallelWith, MakesNoToolForNothing) {
  parallel_with(
      0, 3,
      [] {
        ADD_FAILURE();
        return 0;
      },
      [](int, int) {});
}

TEST(ParallelWith, ThrowsTheFirstExceptionAgain) {
  EXPECT_THROW(parallel_with(
                   50, 3, [] { return 0; },
                   [](int i, int) {
                     if (i == 7) throw std::runtime_error("seven");
                   }),
               std::runtime_error);
}

TEST(ParallelFor, DoesAllTheWorkWhereNoThreadCanStart) {
  std::vector<int> runs(100, 0);
  bool limited = false;
  {
    const NoNewThreads limit;
    limited = !can_start_threads();
    if (limited) parallel_for(100, 8, [&](int i) { ++runs[static_cast<std::size_t>(i)]; });
  }
  if (!limited) GTEST_SKIP() << "no way is known to keep threads from starting here";
  EXPECT_EQ(runs, std::vector<int>(100, 1));
}

TEST(ParallelFor, ThrowsTheFirstExceptionAgain) {
  EXPECT_THROW(parallel_for(50, 3,
                            [](int i) {
                              if (i == 7) throw std::runtime_error("seven");
                            }),
               std::runtime_error);
}

}  // namespace
}  // namespace kilter
