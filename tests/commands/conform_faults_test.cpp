// Disks that fail while conform writes, at every place where they can.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <set>
#include <string>
#include <vector>

#include "kilter/edits/lineup_file.h"
#include "run_kilter.h"
#include "support/calls_that_fail.h"
#include "support/replaced_file_calls.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;

/// Every file below a folder with what is in it; hidden ones, too.
using Tree = std::set<std::pair<std::string, std::string>>;
Tree tree_of(const fs::path& folder) {
  Tree tree;
  if (!fs::exists(folder)) return tree;
  for (const auto& entry : fs::recursive_directory_iterator(folder))
    tree.insert({fs::relative(entry.path(), folder).string(),
                 entry.is_directory() ? "" : test::read_text(entry.path())});
  return tree;
}

std::set<std::string> names_in(const fs::path& folder) {
  std::set<std::string> names;
  for (const auto& [name, text] : tree_of(folder)) names.insert(name);
  return names;
}

class FailingDisk : public testing::Test {
 protected:
  FailingDisk() {
    constexpr int kRate_hz = 8000;
    constexpr std::int64_t kFrames = 4000;
    Lineup lineup;
    lineup.session = "hour";
    lineup.timeline_rate_hz = kRate_hz;
    lineup.to_s = 0.5;
    lineup.mix = LineupMix{"mixdown.wav", kRate_hz, kFrames, {{0.0, 0.5, 0.0, 0.5, 0.0}}, {}};
    for (const char* name : {"keeper", "mate", "mixdown"}) {
      test::write_sound(show() / (std::string(name) + ".wav"), {test::noise(kFrames, 0.5F, 1)},
                        kRate_hz);
      if (name == std::string("mixdown")) continue;
      LineupTrack track;
      track.name = name;
      track.parts = {{track.name + ".wav", 1, kFrames}};
      track.rate_hz = kRate_hz;
      track.standing = Standing::firm;
      track.map = *TimeMap::line(0.01, 20.0, 0.5, 1.0);
      lineup.tracks.push_back(track);
    }
    EXPECT_TRUE(edits::write_lineup(lineup, home_ / "hour.lineup.json"));
  }
  fs::path show() {
    fs::create_directory(home_ / "show");
    return home_ / "show";
  }
  fs::path out() const { return home_ / "work" / "done"; }
  test::Told conform(const std::vector<std::string>& more = {}) {
    std::vector<std::string> args{
        "conform", show().string(), "--lineup",  (home_ / "hour.lineup.json").string(),
        "--out",   out().string(),  "--threads", "1"};
    args.insert(args.end(), more.begin(), more.end());
    return test::run_kilter(args);
  }
  /// Fails each call in turn, until a run needs no further one. `begin` makes what is there before.
  template <typename Begin>
  void fail_every_call(const Begin& begin, const std::vector<std::string>& more) {
    ASSERT_EQ(conform(more).exit, 0);
    const std::set<std::string> whole = names_in(out());
    int runs = 0;
    for (int k = 1;; ++k, ++runs) {
      fs::remove_all(home_ / "work");
      begin();
      const Tree before = tree_of(home_ / "work");
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
        EXPECT_EQ(names_in(out()), whole) << where;
        continue;
      }
      ASSERT_EQ(told.exit, 4) << where;
      EXPECT_EQ(std::count(told.err.begin(), told.err.end(), '\n'), 2) << where;
      EXPECT_EQ(told.out, "") << where;
      EXPECT_EQ(tree_of(home_ / "work"), before) << where;
    }
    EXPECT_GT(runs, 50);  // three stems and a dozen lists, each opened, written, synced and named
    std::printf("  %d calls, each failed once\n", runs);
  }

  test::TemporaryFolder home_;
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

}  // namespace
}  // namespace kilter
