// kilter survey --html
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "run_kilter.h"
#include "small_show.h"
#include "support/calls_that_fail.h"
#include "support/replaced_file_calls.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;

class SurveyAsAPage : public testing::Test {
 protected:
  SurveyAsAPage() { fs::create_directory(show_.work()); }
  fs::path page() const { return show_.work() / "survey.html"; }
  test::Told survey(const fs::path& page, const std::vector<std::string>& more = {}) const {
    std::vector<std::string> args{"survey", show_.session().string(), "--html", page.string()};
    args.insert(args.end(), more.begin(), more.end());
    return test::run_kilter(args);
  }

  test::SmallShow show_;
};

TEST_F(SurveyAsAPage, IsWrittenBesideTheTableAndTheSameAgain) {
  const test::Told told = survey(page());
  EXPECT_LE(told.exit, 1) << told.err;
  EXPECT_NE(told.out.find("Page  " + page().string()), std::string::npos) << told.out;
  const std::string html = test::read_text(page());
  EXPECT_NE(html.find("<title>show: survey</title>"), std::string::npos);
  EXPECT_EQ(html.find(page().filename().string()), std::string::npos);  // where to is not told
  EXPECT_EQ(survey(page()).exit, told.exit);
  EXPECT_EQ(test::read_text(page()), html);
  EXPECT_EQ(survey(page(), {"--json"}).out,
            test::run_kilter({"survey", show_.session().string(), "--json"}).out);
}

TEST_F(SurveyAsAPage, TellsExitOneByWhatItAsks) {
  const test::Told told = survey(page());
  EXPECT_EQ(told.exit == 1, test::read_text(page()).find("id=\"needs\"") != std::string::npos);
  fs::copy_file(show_.session() / "keeper.wav", show_.session() / "keeper.wav.part");
  EXPECT_EQ(survey(page()).exit, 1);
  EXPECT_NE(test::read_text(page()).find("Not looked at"), std::string::npos);
}

TEST_F(SurveyAsAPage, TakesThePlaceOfNoOtherFileAndOfNothingInTheSession) {
  std::ofstream(page()) << "<html>mine</html>";
  const test::Told told = survey(page());
  EXPECT_EQ(told.exit, 2);
  EXPECT_NE(told.err.find("survey.html"), std::string::npos) << told.err;
  EXPECT_EQ(test::read_text(page()), "<html>mine</html>");
  EXPECT_EQ(survey(show_.session() / "survey.html").exit, 2);
  EXPECT_FALSE(fs::exists(show_.session() / "survey.html"));
  EXPECT_EQ(survey(show_.work() / "missing" / "survey.html").exit, 4);
}

TEST_F(SurveyAsAPage, IsWholeOrAsItWasOnAFullDisk) {
  ASSERT_LE(survey(page()).exit, 1);
  const std::string before = test::read_text(page());
  int failed = 0;
  for (int k = 1;; ++k) {
    test::CallsThatFail calls(k, ENOSPC);
    test::Told told;
    {
      const test::ReplacedFileCalls replaced(calls);
      told = survey(page());
    }
    if (std::ssize(calls.calls) < k) break;
    EXPECT_TRUE(told.exit <= 1 || told.exit == 4) << told.err;
    failed += told.exit == 4 ? 1 : 0;
    EXPECT_EQ(test::read_text(page()), before);
    EXPECT_EQ(test::names_below(show_.work()), (std::set<std::string>{"survey.html"}));
  }
  EXPECT_GE(failed, 2);
}

TEST_F(SurveyAsAPage, OfASoundCheckAsksForWhatIsToBeMended) {
  const test::Told told = survey(page(), {"--sound-check"});
  ASSERT_LE(told.exit, 1) << told.err;
  EXPECT_EQ(told.exit == 1, test::read_text(page()).find("id=\"needs\"") != std::string::npos);
}

}  // namespace
}  // namespace kilter
