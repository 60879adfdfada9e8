#include "kilter/report/check_report.h"

#include <gtest/gtest.h>

namespace kilter::report {
namespace {

CheckReport report_of(Verdict verdict, int speaking, int clear) {
  CheckReport report;
  report.session = "lighthouse <12> & \"more\"";
  CheckedStem stem;
  stem.name = "kee\nper";
  stem.verdict = verdict;
  stem.speaking = speaking;
  stem.clear = clear;
  report.stems.push_back(stem);
  return report;
}

TEST(CheckReport, EscapesWhatXmlWouldTakeForItsOwn) {
  const std::string xml = check_junit(report_of(Verdict::within, 10, 10));
  EXPECT_NE(xml.find("name=\"kilter check lighthouse &lt;12&gt; &amp; &quot;more&quot;\""),
            std::string::npos)
      << xml;
  EXPECT_NE(xml.find("name=\"kee?per\"/>"), std::string::npos) << xml;
}

TEST(CheckReport, BeginsWithStemsThatHaveExchangedTheirNames) {
  CheckReport report = report_of(Verdict::within, 10, 10);
  report.stems.push_back(report.stems.front());
  report.stems.push_back(report.stems.front());
  report.stems[0].name = "cook";
  report.stems[1].name = "mate";
  report.stems[2].name = "pilot";
  Finding swapped;
  swapped.code = "swapped";
  swapped.text = "It holds another's sound.";
  report.stems[0].findings = {swapped};
  report.stems[1].findings = {swapped};
  const std::string text = check_text(report);
  EXPECT_NE(text.find("\nNames exchanged: cook, mate. 3 of 3 stems within 1 ms.\n"),
            std::string::npos)
      << text;
  EXPECT_NE(text.find("\ncook   swapped "), std::string::npos) << text;
  EXPECT_NE(text.find("\npilot  within "), std::string::npos) << text;
  EXPECT_NE(text.find("\n 1. cook, mate: It holds"), std::string::npos) << text;
  EXPECT_NE(check_junit(report).find("failures=\"2\""), std::string::npos);
}

TEST(CheckReport, SaysWhereTheStemsStartOnTheirTimeline) {
  CheckReport report = report_of(Verdict::within, 10, 10);
  Finding finding;
  finding.text = "At 00:00:03.000.";
  report.findings = {finding};
  EXPECT_EQ(check_text(report).find("timeline"), std::string::npos);
  report.from_s = -5.5;
  EXPECT_NE(check_text(report).find("Times are the stems', which start at -00:00:05.500 of their "
                                    "lineup's timeline.\n"),
            std::string::npos)
      << check_text(report);
}

TEST(CheckReport, PassesSilenceOnlyWhereAllowedAndNeverAStranger) {
  CheckReport report = report_of(Verdict::no_evidence, 1, 0);
  EXPECT_FALSE(passes(report));
  report.allow_silent = true;
  EXPECT_TRUE(passes(report));
  EXPECT_NE(check_junit(report).find("skipped=\"1\""), std::string::npos);
  report = report_of(Verdict::no_evidence, 10, 0);
  report.allow_silent = true;
  EXPECT_FALSE(passes(report));
  EXPECT_FALSE(passes(report_of(Verdict::beyond, 10, 10)));
  EXPECT_TRUE(passes(report_of(Verdict::within, 10, 10)));
  EXPECT_TRUE(passes(report_of(Verdict::left_out, 0, 0)));
}

TEST(CheckReport, SaysOfAStemThatIsOnlyInvertedThatItIs) {
  CheckReport report = report_of(Verdict::beyond, 10, 10);
  CheckedStem& stem = report.stems.front();
  stem.name = "cook";
  stem.worst_s = 0.0;
  Finding inverted;
  inverted.code = "inverted";
  inverted.text = "Its polarity is opposite.";
  stem.findings = {inverted};
  const std::string text = check_text(report);
  EXPECT_NE(text.find("\ncook  inverted "), std::string::npos) << text;
  EXPECT_NE(text.find("1 of 1 stem within 1 ms; 1 inverted."), std::string::npos) << text;
  EXPECT_FALSE(passes(report));
  EXPECT_NE(check_junit(report).find("<failure type=\"inverted\""), std::string::npos);

  // One that stands off as well is beyond.
  Finding misaligned;
  misaligned.code = "misaligned";
  stem.findings.push_back(misaligned);
  EXPECT_NE(check_text(report).find("\ncook  beyond "), std::string::npos) << check_text(report);
}

}  // namespace
}  // namespace kilter::report
