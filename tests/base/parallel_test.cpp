#include "kilter/base/parallel.h"

#include <gtest/gtest.h>

#include <stdexcept>
#include <vector>

namespace kilter {
namespace {

TEST(ParallelFor, RunsEveryIndexOnceForAnyThreadCount) {
  for (const int threads : {1, 2, 7}) {
    std::vector<int> runs(100, 0);
    parallel_for(100, threads, [&](int i) { ++runs[static_cast<std::size_t>(i)]; });
    for (const int count : runs) EXPECT_EQ(count, 1);
  }
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
