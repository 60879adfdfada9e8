// Work in processes of its own: what becomes of the others when one ends badly.
#include "batch_workers.h"

#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <map>
#include <thread>

#include "support/temporary_folder.h"

namespace kilter::commands {
namespace {

using namespace std::chrono_literals;

const std::atomic<bool> kNever{false};

std::map<std::size_t, BatchWorkers::Ended> all_ended(BatchWorkers& workers) {
  std::map<std::size_t, BatchWorkers::Ended> ended;
  for (int i = 0; i < 300 && workers.running() > 0; ++i)
    if (auto one = workers.wait(100ms)) ended.insert({one->id, *one});
  return ended;
}

std::string until_stopped(const std::atomic<bool>& stop) {
  while (!stop.load()) std::this_thread::sleep_for(5ms);
  return "stopped";
}

TEST(BatchWorkers, GiveBackWhatTheWorkDidHoweverLong) {
  BatchWorkers workers(kNever);
  const std::string long_text(1 << 20, 'x');
  ASSERT_TRUE(workers.start(1, [&](const auto&) { return long_text; }));
  ASSERT_TRUE(workers.start(2, [&](const auto&) { return std::string("two"); }));
  auto ended = all_ended(workers);
  ASSERT_EQ(ended.size(), 2U);
  EXPECT_EQ(ended[1].text, long_text);
  EXPECT_EQ(ended[2].text, "two");
  EXPECT_FALSE(ended[2].failed);
}

TEST(BatchWorkers, OutliveOneThatIsKilledOrThrows) {
  BatchWorkers workers(kNever);
  ASSERT_TRUE(workers.start(1, [](const auto&) {
    ::kill(::getpid(), SIGKILL);
    return std::string("never");
  }));
  ASSERT_TRUE(workers.start(2, [](const auto&) -> std::string { throw 7; }));
  ASSERT_TRUE(workers.start(3, [](const auto&) { return std::string("fine"); }));
  auto ended = all_ended(workers);
  ASSERT_EQ(ended.size(), 3U);
  EXPECT_TRUE(ended[1].failed);
  EXPECT_EQ(ended[1].signal, SIGKILL);
  EXPECT_TRUE(ended[2].failed);
  EXPECT_EQ(ended[2].signal, 0);
  EXPECT_EQ(ended[3].text, "fine");
}

TEST(BatchWorkers, StopWhenToldTo) {
  BatchWorkers workers(kNever);
  for (std::size_t i = 0; i < 3; ++i) ASSERT_TRUE(workers.start(i, until_stopped));
  workers.stop_all();
  auto ended = all_ended(workers);
  ASSERT_EQ(ended.size(), 3U);
  for (const auto& [id, one] : ended) EXPECT_EQ(one.text, "stopped");
}

TEST(BatchWorkers, EndWithTheProcessThatStartedThem) {
  const test::TemporaryFolder folder;
  const auto alive = folder / "alive";
  const pid_t boss = ::fork();
  if (boss == 0) {
    BatchWorkers workers(kNever);
    const auto work = [&](const std::atomic<bool>&) -> std::string {
      for (;;) {
        test::write_text(alive, "yes");
        std::this_thread::sleep_for(10ms);
      }
    };
    const bool started = workers.start(1, work) && workers.start(2, work);
    (void)started;
    for (;;) std::this_thread::sleep_for(1s);
  }
  for (int i = 0; i < 1000 && test::read_text(alive).empty(); ++i)
    std::this_thread::sleep_for(10ms);
  ASSERT_EQ(test::read_text(alive), "yes");
  ::kill(boss, SIGKILL);
  ::waitpid(boss, nullptr, 0);
  bool ended = false;
  for (int i = 0; i < 100 && !ended; ++i) {
    std::filesystem::remove(alive);
    std::this_thread::sleep_for(200ms);
    ended = !std::filesystem::exists(alive);
  }
  EXPECT_TRUE(ended);
}

}  // namespace
}  // namespace kilter::commands
