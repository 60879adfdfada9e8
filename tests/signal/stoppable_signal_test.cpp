#include "kilter/signal/stoppable_signal.h"

#include <gtest/gtest.h>

#include <array>
#include <atomic>
#include <vector>

namespace kilter {
namespace {

TEST(StoppableSignal, ReadsWhatTheSignalHoldsUntilItIsStopped) {
  const MemorySignal ramp(std::vector<float>{1.0F, 2.0F, 3.0F});
  std::atomic<bool> stop{false};
  const StoppableSignal stoppable(ramp, stop);
  EXPECT_EQ(stoppable.frames(), 3);
  std::array<float, 4> out{};
  ASSERT_TRUE(stoppable.read(1, out));
  EXPECT_EQ(out, (std::array<float, 4>{2.0F, 3.0F, 0.0F, 0.0F}));
  stop.store(true);
  const auto refused = stoppable.read(0, out);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().kind, ErrorKind::interrupted);
}

}  // namespace
}  // namespace kilter
