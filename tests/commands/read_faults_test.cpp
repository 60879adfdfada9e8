// Disks that cannot be read while conform and align work, at every place where they are.
#include <gtest/gtest.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <filesystem>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "run_kilter.h"
#include "small_show.h"
#include "support/reads_that_fail.h"
#include "support/replaced_file_calls.h"
#include "support/sound_files.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;
using test::Told;
using test::Tree;
using test::tree_of;
using Which = test::ReadsThatFail::Which;

constexpr const char* kWords = "Input/output error";

/// What is in the folder, but for the date in a list of decisions.
Tree contents_of(const fs::path& folder) {
  Tree tree;
  for (auto [name, text] : tree_of(folder)) {
    if (name.ends_with(".adl")) text.clear();
    tree.insert({name, text});
  }
  return tree;
}

bool tells(const Told& told) {
  return told.out.find(kWords) != std::string::npos || told.err.find(kWords) != std::string::npos;
}

/// By all the files that tell conform what to do: session.toml, a lineup and a table of cuts.
std::vector<std::string> conform_as_told(const test::SmallShow& show) {
  test::write_text(show.session() / "session.toml", "title = \"hour\"\nmix = \"mixdown.wav\"\n");
  const fs::path cuts = show.session().parent_path() / "cuts.tsv";
  EXPECT_EQ(test::run_kilter(show.conform_args({})).exit, 0);
  fs::rename(show.out() / "edits" / "cuts.tsv", cuts);
  fs::remove_all(show.work());
  return show.conform_args({"--cuts", cuts.string()});
}

class UnreadableDisk : public testing::TestWithParam<Which> {
 protected:
  /// Fails the reads in turn, until a run needs no further one. `expect(told, whole, where)` looks
  /// at what each left in show_.work().
  template <typename Expect>
  void fail_every_read(const std::vector<std::string>& args, const Expect& expect) {
    fs::create_directory(show_.work());
    const Told whole = test::run_kilter(args);
    ASSERT_LE(whole.exit, 1) << whole.err;
    const Tree whole_tree = contents_of(show_.work());
    int runs = 0;
    int refused = 0;
    // Where nothing is read any more, one place is much like its neighbours.
    const int step = GetParam() == Which::one ? 1 : 5;
    for (int k = 1;; k += step, ++runs) {
      fs::remove_all(show_.work());
      fs::create_directory(show_.work());
      test::ReadsThatFail calls(k, GetParam());
      Told told;
      {
        const test::ReplacedFileCalls replaced(calls);
        told = test::run_kilter(args);
      }
      const Tree tree = contents_of(show_.work());
      const std::string where = "read " + std::to_string(k) + ": " + told.err;
      if (calls.calls() < k) {
        EXPECT_EQ(told.exit, whole.exit) << where;
        EXPECT_EQ(tree, whole_tree) << where;
        break;
      }
      if (told.exit == whole.exit && told.out == whole.out && told.err == whole.err) {
        EXPECT_EQ(tree, whole_tree) << where;  // it could do without, or asked again
      } else if (told.exit > 1) {
        ++refused;
        EXPECT_TRUE(told.exit == 3 || told.exit == may_also_exit_with_) << where;
        EXPECT_TRUE(tells(told)) << where;
        EXPECT_EQ(told.out, "") << where;
        EXPECT_EQ(tree, Tree{}) << where;
      } else {
        EXPECT_EQ(told.exit, 1) << where;
        EXPECT_TRUE(tells(told)) << where << told.out;
        expect(tree, whole_tree, where);
      }
    }
    std::printf("  %d reads, %d of them refused\n", runs, refused);
    EXPECT_GT(runs, 30);
  }

  test::SmallShow show_;
  int may_also_exit_with_{3};
};

/// One file that cannot be opened, or of which nothing can be read.
class OneBadFile : public FileCalls {
 public:
  OneBadFile(std::string name, bool opens) : name_(std::move(name)), opens_(opens) {}
  int open(const char* path, int flags, mode_t mode) override {
    const bool is_it = fs::path(path).filename() == name_;
    if (is_it && !opens_) return failed();
    const int descriptor = FileCalls::open(path, flags, mode);
    if (is_it) bad_ = descriptor;
    return descriptor;
  }
  ssize_t read_at(int descriptor, void* bytes, std::size_t count, off_t offset) override {
    return descriptor == bad_ ? failed() : FileCalls::read_at(descriptor, bytes, count, offset);
  }

 private:
  static int failed() {
    errno = EIO;
    return -1;
  }
  std::string name_;
  bool opens_;
  int bad_{-1};
};

TEST(BadFile, IsToldWhereItSaysWhatToDo) {
  const test::SmallShow show;
  const auto args = conform_as_told(show);
  for (const std::string name : {"session.toml", "hour.lineup.json", "cuts.tsv"})
    for (const bool opens : {true, false}) {
      OneBadFile calls(name, opens);
      const test::ReplacedFileCalls replaced(calls);
      const Told told = test::run_kilter(args);
      EXPECT_EQ(told.exit, 3) << name;
      EXPECT_EQ(told.out, "") << name;
      EXPECT_NE(told.err.find(name + "\" cannot be read (" + kWords + ")\n  next: "),
                std::string::npos)
          << told.err;
      EXPECT_EQ(std::count(told.err.begin(), told.err.end(), '\n'), 2) << told.err;
      EXPECT_EQ(contents_of(show.work()), Tree{}) << name;
    }
}

TEST_P(UnreadableDisk, LeavesStemsThatAreWholeOrNone) {
  fail_every_read(conform_as_told(show_),
                  [](const Tree& tree, const Tree& whole, const std::string& where) {
                    int stems = 0;
                    for (const auto& [name, text] : tree) {
                      EXPECT_EQ(name.find(".part"), std::string::npos) << where << name;
                      if (!name.ends_with(".wav")) continue;
                      ++stems;
                      EXPECT_TRUE(whole.contains({name, text})) << where << name;
                    }
                    EXPECT_GT(stems, 0) << where;
                    EXPECT_TRUE(std::any_of(tree.begin(), tree.end(), [](const auto& each) {
                      return each.first == "done/lineup.json" && !each.second.empty();
                    })) << where;
                  });
}

TEST_P(UnreadableDisk, LeavesListeningClipsThatAreWholeOrNone) {
  may_also_exit_with_ = 4;  // what was written and cannot be read again
  fail_every_read(show_.conform_args({"--clips"}),
                  [](const Tree& tree, const Tree& whole, const std::string& where) {
                    bool any = false;
                    std::string table;
                    for (const auto& [name, text] : tree) {
                      EXPECT_EQ(name.find(".part"), std::string::npos) << where << name;
                      if (name == "done/listen/clips.tsv") table = text;
                      any = any || name.starts_with("done/listen/");
                    }
                    // A stem that could not be made has no clip; without the mix there is none.
                    for (const auto& [name, text] : tree)
                      if (name.starts_with("done/listen/") && name.ends_with(".wav")) {
                        EXPECT_TRUE(whole.contains({name, text})) << where << name;
                        EXPECT_NE(table.find(name.substr(12)), std::string::npos) << where << name;
                      }
                    EXPECT_EQ(any, !table.empty()) << where;
                  });
}

TEST_P(UnreadableDisk, LeavesAWholeLineupOrNone) {
  constexpr int kRate_hz = 8000;
  constexpr std::size_t kFrames = 5 * kRate_hz;
  auto mix = test::noise(kFrames, 0.3F, 2);
  const auto keeper = test::noise(kFrames, 0.3F, 3);
  test::write_sound(show_.session() / "mate.wav", {mix}, kRate_hz);
  test::write_sound(show_.session() / "keeper.wav", {keeper}, kRate_hz);
  for (std::size_t n = 100; n < kFrames; ++n) mix[n] += keeper[n - 100];
  test::write_sound(show_.session() / "mixdown.wav", {mix}, kRate_hz);
  const fs::path file = show_.work() / "hour.lineup.json";
  fail_every_read({"align", show_.session().string(), "--lineup", file.string(), "--threads", "1"},
                  [](const Tree& tree, const Tree&, const std::string& where) {
                    ASSERT_EQ(tree.size(), 1U) << where;
                    EXPECT_EQ(tree.begin()->first, "hour.lineup.json") << where;
                    EXPECT_TRUE(tree.begin()->second.ends_with("}\n")) << where;
                  });
}

TEST_P(UnreadableDisk, ShortReadsAndInterruptionsAreNone) {
  const auto args = show_.conform_args({});
  ASSERT_EQ(test::run_kilter(args).exit, 0);
  const Tree whole = contents_of(show_.work());
  fs::remove_all(show_.work());
  test::ShortReads busy;
  const test::ReplacedFileCalls replaced(busy);
  ASSERT_EQ(test::run_kilter(args).exit, 0);
  EXPECT_EQ(contents_of(show_.work()), whole);
}

INSTANTIATE_TEST_SUITE_P(All, UnreadableDisk, testing::Values(Which::one, Which::all_from_there_on),
                         [](const auto& each) {
                           return each.param == Which::one ? "AtOnePlace" : "FromThereOn";
                         });

}  // namespace
}  // namespace kilter
