// Every call to the system failed in turn, of check, survey and batch: one clear word, the right
// exit code, and nothing half-written.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <functional>
#include <nlohmann/json.hpp>

#include "run_kilter.h"
#include "small_show.h"
#include "support/replaced_file_calls.h"
#include "support/shared_faults.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;
using test::SharedFaults;
using test::Told;
using test::Tree;
using test::tree_of;
using Args = std::vector<std::string>;
using Of = SharedFaults::Of;

constexpr int kRate_hz = 8000;

class CommandFaults : public testing::TestWithParam<Of> {
 protected:
  /// A session that aligns: two tracks of noise, and a mix of them.
  void write_session(const fs::path& folder) const {
    constexpr std::size_t kFrames = 5 * kRate_hz;
    fs::create_directories(folder);
    auto mix = test::noise(kFrames, 0.3F, 2);
    const auto keeper = test::noise(kFrames, 0.3F, 1);
    for (std::size_t i = 0; i < kFrames; ++i) mix[i] += keeper[i];
    test::write_sound(folder / "keeper.wav", {keeper}, kRate_hz);
    test::write_sound(folder / "mate.wav", {test::noise(kFrames, 0.3F, 2)}, kRate_hz);
    test::write_sound(folder / "mixdown.wav", {mix}, kRate_hz);
  }
  fs::path work() const { return home_ / "work"; }

  /// Fails each call in turn until a run needs no further one; `begin` makes what is there before
  /// each, `expect(told, where)` looks at what a run left that did not go as the whole one.
  void fail_every_call(const Args& args, const std::function<void()>& begin,
                       const std::function<void(const Told&, const std::string&)>& expect) {
    begin();
    const Told whole = test::run_kilter(args);
    ASSERT_LE(whole.exit, 1) << whole.err;
    int survived = 0;
    int failed = 0;
    for (int k = 1;; k += step_) {
      begin();
      SharedFaults faults(GetParam(), k, GetParam() == Of::reading ? EIO : ENOSPC);
      Told told;
      {
        const test::ReplacedFileCalls replaced(faults);
        told = test::run_kilter(args);
      }
      const std::string where =
          "call " + std::to_string(k) + ", " + faults.failed() + ": " + told.err;
      if (faults.calls() < k) {
        EXPECT_EQ(told.exit, whole.exit) << where;
        std::printf("  %d calls failed, %d of them without harm\n", failed, survived);
        EXPECT_GT(failed, 3);
        return;
      }
      ++failed;
      const auto parts = test::names_below(work());
      EXPECT_TRUE(std::none_of(parts.begin(), parts.end(), [](const auto& name) {
        return name.find(".part") != std::string::npos;
      })) << where;
      if (told.exit == whole.exit && told.err == whole.err)
        ++survived;
      else
        expect(told, where);
    }
  }
  static void expect_one_error(const Told& told, const std::string& where) {
    EXPECT_EQ(told.out, "") << where;
    EXPECT_TRUE(told.err.starts_with("kilter: ")) << where;
    // Of a mix: that it cannot be read, and that nothing can be done without.
    EXPECT_LE(std::count(told.err.begin(), told.err.end(), '\n'), 4) << where;
    EXPECT_NE(told.err.find(GetParam() == Of::reading ? "Input/output error" : "No space left"),
              std::string::npos)
        << where;
  }

  test::TemporaryFolder home_;
  int step_{1};
};

TEST_P(CommandFaults, OfCheckLeaveItsReportWholeOrAsItWas) {
  write_session(home_ / "show");
  ASSERT_LE(test::run_kilter({"conform", (home_ / "show").string(), "--out",
                              (home_ / "done").string(), "--threads", "1"})
                .exit,
            1);
  const fs::path junit = work() / "check.xml";
  const std::string before = "<testsuite name=\"kilter check earlier\"/>\n";
  fail_every_call(
      {"check", (home_ / "done").string(), "--junit", junit.string(), "--threads", "1"},
      [&] {
        fs::remove_all(work());
        fs::create_directory(work());
        test::write_text(junit, before);
      },
      [&](const Told& told, const std::string& where) {
        if (told.exit == 1) {  // a stem that cannot be read fails, and is told
          EXPECT_NE(test::unwrapped(told.out + told.err).find("Input/output error"),
                    std::string::npos)
              << where;
          EXPECT_NE(test::read_text(junit).find("</testsuite>"), std::string::npos) << where;
          return;
        }
        EXPECT_EQ(told.exit, GetParam() == Of::reading ? 3 : 4) << where;
        expect_one_error(told, where);
        EXPECT_EQ(test::read_text(junit), before) << where;
      });
  EXPECT_FALSE(tree_of(home_ / "done").empty());
}

TEST_P(CommandFaults, OfSurveyAreTold) {
  write_session(home_ / "show");
  const fs::path page = work() / "survey.html";
  fail_every_call(
      {"survey", (home_ / "show").string(), "--html", page.string(), "--threads", "1"},
      [&] {
        fs::remove_all(work());
        fs::create_directory(work());
      },
      [&](const Told& told, const std::string& where) {
        if (told.exit == 1) {
          EXPECT_NE(test::unwrapped(told.out + told.err).find("Input/output error"),
                    std::string::npos)
              << where;
          EXPECT_NE(test::read_text(page).find("</html>"), std::string::npos) << where;
          return;
        }
        EXPECT_EQ(told.exit, GetParam() == Of::reading ? 3 : 4) << where;
        expect_one_error(told, where);
        EXPECT_FALSE(fs::exists(page)) << where;
      });
}

TEST_P(CommandFaults, OfABatchCostOneSessionAndTheNextRunMendsThem) {
  write_session(home_ / "shows" / "hour");
  step_ = GetParam() == Of::reading ? 11 : 1;  // check and conform fail each read
  const Args args{
      "batch", (home_ / "shows").string(), "--out", (work() / "out").string(), "--threads", "1"};
  // Times of day and of work are no part of a result.
  const auto results = [&] {
    Tree tree;
    for (const auto& [name, text] : tree_of(work()))
      if (!name.ends_with(".adl") && name.find("batch.") == std::string::npos)
        tree.insert({name, text});
    return tree;
  };
  const auto begin = [&] {
    fs::remove_all(work());
    fs::create_directory(work());
  };
  begin();
  ASSERT_LE(test::run_kilter(args).exit, 1);
  const Tree whole = results();
  fail_every_call(args, begin, [&](const Told& told, const std::string& where) {
    EXPECT_TRUE(told.exit == 1 || told.exit == 3 || told.exit == 4) << where << told.exit;
    EXPECT_NE((told.out + told.err)
                  .find(GetParam() == Of::reading ? "Input/output error" : "No space left"),
              std::string::npos)
        << where << told.out;
    if (told.exit > 1) expect_one_error(told, where);
    const fs::path done = work() / "out" / "hour";
    EXPECT_EQ(fs::exists(done), fs::exists(done / "lineup.json")) << where;
    // A file that could not be read costs its stem, and is read again only with --again.
    if (GetParam() == Of::reading) return;
    const Told again = test::run_kilter(args);
    EXPECT_LE(again.exit, 1) << where << again.err;
    EXPECT_TRUE(results() == whole) << where;
  });
}

INSTANTIATE_TEST_SUITE_P(All, CommandFaults, testing::Values(Of::reading, Of::writing),
                         [](const auto& each) {
                           return each.param == Of::reading ? "Reading" : "Writing";
                         });

}  // namespace
}  // namespace kilter
