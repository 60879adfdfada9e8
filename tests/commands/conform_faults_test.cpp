// Disks that fail while conform writes, at every place where they can.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <set>
#include <string>
#include <vector>

#include "run_kilter.h"
#include "small_show.h"
#include "support/calls_that_fail.h"
#include "support/replaced_file_calls.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;

using test::names_below;
using test::tree_of;

class FailingDisk : public testing::Test {
 protected:
  test::Told conform(const std::vector<std::string>& more = {}) const {
    return test::run_kilter(show_.conform_args(more));
  }
  /// Fails each call in turn, until a run needs no further one. `begin` makes what is there before.
  template <typename Begin>
  void fail_every_call(const Begin& begin, const std::vector<std::string>& more) {
    ASSERT_EQ(conform(more).exit, 0);
    const std::set<std::string> whole = names_below(show_.out());
    int runs = 0;
    for (int k = 1;; ++k, ++runs) {
      fs::remove_all(show_.work());
      begin();
      const test::Tree before = tree_of(show_.work());
      test::CallsThatFail calls(k, ENOSPC);
      test::Told told;
      {
        const test::ReplacedFileCalls replaced(calls);
        told = conform(more);
      }
      EXPECT_EQ(calls.open_count, 0) << "call " << k;
      if (std::ssize(calls.calls) < k) {
        EXPECT_EQ(told.exit, 0) << told.err;
        break;
      }
      const std::string where = "call " + std::to_string(k) + ", " +
                                calls.calls[static_cast<std::size_t>(k - 1)] + ": " + told.err;
      if (told.exit == 0) {  // closing a folder that was synced may fail without harm
        EXPECT_EQ(calls.calls[static_cast<std::size_t>(k - 1)], "close") << where;
        EXPECT_EQ(names_below(show_.out()), whole) << where;
        continue;
      }
      ASSERT_EQ(told.exit, 4) << where;
      EXPECT_EQ(std::count(told.err.begin(), told.err.end(), '\n'), 2) << where;
      EXPECT_EQ(told.out, "") << where;
      EXPECT_EQ(tree_of(show_.work()), before) << where;
    }
    EXPECT_GT(runs, 50);  // three stems and a dozen lists, each opened, written, synced and named
    std::printf("  %d calls, each failed once\n", runs);
  }

  test::SmallShow show_;
};

TEST_F(FailingDisk, LeavesNothingOfAFirstResult) {
  fail_every_call([] {}, {});
}

TEST_F(FailingDisk, LeavesAnEarlierResultAsItWas) {
  fail_every_call([&] { ASSERT_EQ(conform({"--bits", "16"}).exit, 0); }, {"--replace"});
}

TEST_F(FailingDisk, LeavesNothingOfFlacStems) {
  fail_every_call([] {}, {"--container", "flac"});
}

TEST_F(FailingDisk, LeavesNothingOfListeningClips) {
  fail_every_call([] {}, {"--clips"});
}

TEST_F(FailingDisk, LeavesEarlierListeningClipsAsTheyWere) {
  fail_every_call(
      [&] {
        ASSERT_EQ(conform({"--bits", "16", "--clips"}).exit, 0);
      },
      {"--replace", "--clips"});
}

class EarlierClips : public FailingDisk {};

TEST_F(EarlierClips, GoWithTheResultThatIsReplacedAndWhatAPersonPutThereStays) {
  ASSERT_EQ(conform({"--clips"}).exit, 0);
  const fs::path listen = show_.out() / "listen";
  ASSERT_EQ(names_below(listen).size(), 3U);  // two tracks, each shorter than a clip, and the table
  std::ofstream(listen / "notes.txt") << "mate sounds fine";
  ASSERT_EQ(conform({"--replace"}).exit, 0);
  EXPECT_EQ(names_below(listen), (std::set<std::string>{"notes.txt"}));
  fs::remove(listen / "notes.txt");
  ASSERT_EQ(conform({"--replace", "--clips"}).exit, 0);
  ASSERT_EQ(conform({"--replace"}).exit, 0);
  EXPECT_FALSE(fs::exists(listen));
}

TEST_F(EarlierClips, TakeNoPlaceOfAPersonsFile) {
  ASSERT_EQ(conform({}).exit, 0);
  fs::create_directory(show_.out() / "listen");
  const fs::path own = show_.out() / "listen" / "keeper_00h00m01s_start.wav";
  std::ofstream(own) << "mine";
  const test::Tree before = tree_of(show_.out());
  const test::Told told = conform({"--replace", "--clips"});
  EXPECT_EQ(told.exit, 2) << told.err;
  EXPECT_NE(told.err.find("keeper_00h00m01s_start.wav"), std::string::npos) << told.err;
  EXPECT_TRUE(tree_of(show_.out()) == before);
}

TEST_F(EarlierClips, AreTheSameForAnyNumberOfThreads) {
  ASSERT_EQ(conform({"--clips"}).exit, 0);
  const test::Tree one = tree_of(show_.out() / "listen");
  auto args = show_.conform_args({"--clips", "--replace"});
  *(std::find(args.begin(), args.end(), "--threads") + 1) = "4";
  ASSERT_EQ(test::run_kilter(args).exit, 0);
  EXPECT_TRUE(tree_of(show_.out() / "listen") == one);
}

}  // namespace
}  // namespace kilter
