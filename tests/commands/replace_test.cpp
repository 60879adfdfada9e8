// conform --replace: what it replaces, and what it leaves to whom it belongs.
#include <gtest/gtest.h>

#include <filesystem>
#include <string>
#include <vector>

#include "run_kilter.h"
#include "small_show.h"
#include "support/sound_files.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;

struct FormatCase {
  const char* name;
  std::vector<std::string> options;
  const char* ending;
};

class Replace : public testing::TestWithParam<FormatCase> {
 protected:
  test::Told conform(const std::vector<std::string>& more = {}) const {
    auto options = GetParam().options;
    options.insert(options.end(), more.begin(), more.end());
    return test::run_kilter(show_.conform_args(options));
  }
  fs::path stem(const std::string& name) const {
    return show_.out() / "stems" / (name + GetParam().ending);
  }

  test::SmallShow show_;
};

TEST_P(Replace, TakesStemsAwayThatAreWhatTheEarlierRunWrote) {
  // Two channels and beyond full scale, which whole numbers cannot hold.
  test::write_sound(show_.session() / "mixdown.wav",
                    {test::noise(4000, 1.5F, 1), test::noise(4000, 0.5F, 2)}, 8000);
  ASSERT_EQ(conform().exit, 0);
  const auto told = conform({"--replace", "--range", "all"});
  EXPECT_EQ(told.exit, 0) << told.err;
  fs::remove(stem("mate"));
  EXPECT_EQ(conform({"--replace"}).exit, 0);
  EXPECT_TRUE(fs::exists(stem("mate")));
}

TEST_P(Replace, NeverTakesAStemAwayThatSomebodyWorkedOn) {
  for (const std::string name : {"keeper", "mixdown"}) {
    fs::remove_all(show_.work());
    ASSERT_EQ(conform().exit, 0);
    auto sound = test::noise(4000, 0.5F, 1);
    sound[2000] += 0.01F;
    test::write_sound(stem(name), {sound}, 8000);
    const auto before = test::tree_of(show_.work());
    const auto told = conform({"--replace"});
    EXPECT_EQ(told.exit, 2);
    EXPECT_EQ(told.out, "");
    EXPECT_EQ(told.err, "kilter: \"" + stem(name).string() +
                            "\": it is no longer the stem that was written there\n"
                            "  next: move it elsewhere, or name another folder\n");
    EXPECT_EQ(test::tree_of(show_.work()), before);
    fs::rename(stem(name), show_.out() / "mine");
    EXPECT_EQ(conform({"--replace"}).exit, 0);
    EXPECT_TRUE(fs::exists(show_.out() / "mine"));
  }
}

TEST(ReplaceCuts, NeverTakesAwayATableThatSomebodyWorkedOnUnlessTheRunFollowsIt) {
  const test::SmallShow show;
  ASSERT_EQ(test::run_kilter(show.conform_args({})).exit, 0);
  ASSERT_EQ(test::run_kilter(show.conform_args({"--replace"})).exit, 0);
  const fs::path table = show.out() / "edits/cuts.tsv";
  const std::string edited = test::read_text(table) + "# the mate came in late\n";
  test::write_text(table, edited);
  const auto before = test::tree_of(show.work());
  const auto told = test::run_kilter(show.conform_args({"--replace"}));
  EXPECT_EQ(told.exit, 2);
  EXPECT_EQ(told.err, "kilter: \"" + table.string() +
                          "\": it is no longer the table that was written there\n"
                          "  next: add --cuts and its path to follow it, or name another folder\n");
  EXPECT_EQ(test::tree_of(show.work()), before);
  const auto followed =
      test::run_kilter(show.conform_args({"--replace", "--cuts", table.string()}));
  EXPECT_EQ(followed.exit, 0) << followed.err;
  EXPECT_NE(test::read_text(table), edited);
  EXPECT_EQ(test::run_kilter(show.conform_args({"--replace"})).exit, 0);
}

INSTANTIATE_TEST_SUITE_P(Formats, Replace,
                         testing::Values(FormatCase{"Whole24", {}, ".wav"},
                                         FormatCase{"Whole16", {"--bits", "16"}, ".wav"},
                                         FormatCase{"Float", {"--bits", "32f"}, ".wav"},
                                         FormatCase{"Rf64", {"--container", "rf64"}, ".wav"},
                                         FormatCase{"Flac", {"--container", "flac"}, ".flac"}),
                         [](const auto& each) { return each.param.name; });

}  // namespace
}  // namespace kilter
