// Memory that runs out while conform works, at places all over a run. A program of its own, for it
// replaces the allocator.
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <new>

#include "small_show.h"

namespace {

// Allocations until one fails; below 0: none does. All of them count, by whichever thread.
std::atomic<long> left{-1};
std::atomic<long> counted{0};

void* allocated(std::size_t bytes) {
  ++counted;
  if (left.load() > 0 && --left == 0) throw std::bad_alloc();
  if (void* memory = std::malloc(bytes == 0 ? 1 : bytes)) return memory;
  throw std::bad_alloc();
}

}  // namespace

void* operator new(std::size_t bytes) { return allocated(bytes); }
void* operator new[](std::size_t bytes) { return allocated(bytes); }
void operator delete(void* memory) noexcept { std::free(memory); }
void operator delete[](void* memory) noexcept { std::free(memory); }
void operator delete(void* memory, std::size_t) noexcept { std::free(memory); }
void operator delete[](void* memory, std::size_t) noexcept { std::free(memory); }

namespace kilter {
namespace {

/// The exit code of a run of its own, in which the k-th allocation fails; -1 where it was aborted:
/// the JSON library allocates while it tidies up, where nothing may be thrown.
int exit_with_failure(const std::vector<std::string>& args, long k) {
  const pid_t child = ::fork();
  if (child == 0) {
    left = k;
    int exit = 71;
    try {
      exit = test::run_kilter(args).exit;
    } catch (const std::bad_alloc&) {  // in the test's own streams
    }
    std::_Exit(exit);
  }
  int status = 0;
  ::waitpid(child, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

TEST(MemoryThatRunsOut, LeavesAWholeResultOrNone) {
  const test::SmallShow show;
  const auto args = show.conform_args({});
  const long before = counted;
  ASSERT_EQ(test::run_kilter(args).exit, 0);
  const long all = counted - before;
  const auto whole = test::names_below(show.out());
  constexpr long kFirst = 100;  // each of them; of the rest 200, evenly
  constexpr long kSpread = 200;
  int told = 0;
  int aborted = 0;
  for (long k = 1; k <= all; k += k < kFirst ? 1 : std::max(1L, all / kSpread)) {
    std::filesystem::remove_all(show.work());
    const int exit = exit_with_failure(args, k);
    const auto left_there = test::names_below(show.work());
    // Somebody could do without, or it ran out when all was in place.
    if (std::filesystem::exists(show.out())) {
      EXPECT_EQ(test::names_below(show.out()), whole) << k;
    } else if (exit != -1) {
      EXPECT_EQ(left_there, std::set<std::string>{}) << k;
    }
    EXPECT_TRUE(exit == 71 || exit == 4 || exit == -1 ||
                (exit == 0 && std::filesystem::exists(show.out())))
        << k << ": " << exit;
    if (exit == 0) continue;
    ++(exit == -1 ? aborted : told);
  }
  std::printf("  %ld allocations; %d runs said so, %d were aborted\n", all, told, aborted);
  EXPECT_GT(told, 200);
}

/// A command that only reads: whether memory runs out or not, it says so or ends as it should.
void expect_told(const std::vector<std::string>& args, const std::filesystem::path& work,
                 const std::string& report) {
  const long before = counted;
  std::filesystem::create_directories(work);
  const int whole_exit = test::run_kilter(args).exit;
  ASSERT_LE(whole_exit, 1);
  const std::string whole = test::read_text(work / report);
  ASSERT_FALSE(whole.empty());
  const long all = counted - before;
  constexpr long kFirst = 100;  // each of them; of the rest 200, evenly
  constexpr long kSpread = 200;
  int told = 0;
  int aborted = 0;
  for (long k = 1; k <= all; k += k < kFirst ? 1 : std::max(1L, all / kSpread)) {
    std::filesystem::remove_all(work);
    std::filesystem::create_directories(work);
    const int exit = exit_with_failure(args, k);
    EXPECT_TRUE(exit == 71 || exit == 4 || exit == -1 || exit == whole_exit) << k << ": " << exit;
    const auto names = test::names_below(work);
    if (exit != -1) {
      EXPECT_TRUE(names.empty() || names == std::set<std::string>{report})
          << k << ": " << exit << ", " << *names.begin();
    }
    if (std::filesystem::exists(work / report)) {
      EXPECT_EQ(test::read_text(work / report), whole) << k;
    } else {
      EXPECT_NE(exit, whole_exit) << k;
    }
    told += exit == 71 || exit == 4 ? 1 : 0;
    aborted += exit == -1 ? 1 : 0;
  }
  std::printf("  %ld allocations; %d runs said so, %d were aborted\n", all, told, aborted);
  EXPECT_GT(told, 200);
}

TEST(MemoryThatRunsOut, LeavesTheReportOfACheckWholeOrNone) {
  const test::SmallShow show;
  ASSERT_EQ(test::run_kilter(show.conform_args({})).exit, 0);
  const auto work = show.work() / "checked";
  expect_told(
      {"check", show.out().string(), "--threads", "1", "--junit", (work / "check.xml").string()},
      work, "check.xml");
}

TEST(MemoryThatRunsOut, LeavesThePageOfASurveyWholeOrNone) {
  const test::SmallShow show;
  const auto work = show.work() / "surveyed";
  expect_told({"survey", show.session().string(), "--threads", "1", "--html",
               (work / "survey.html").string()},
              work, "survey.html");
}

}  // namespace
}  // namespace kilter
