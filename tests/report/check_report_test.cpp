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

}  // namespace
}  // namespace kilter::report
