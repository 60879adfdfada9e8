// How a batch's findings are counted for people.
#include "batch_report.h"

#include <gtest/gtest.h>

namespace kilter::commands {
namespace {

BatchOutcome outcome_with(std::map<std::string, int> findings) {
  BatchOutcome outcome;
  outcome.record.name = "hour";
  outcome.record.exit = 1;
  outcome.record.standings = {{"firm", 3}};
  outcome.record.findings = std::move(findings);
  return outcome;
}

TEST(BatchReport, CountsWhatIsThereMoreThanOnceInThePlural) {
  EXPECT_EQ(outcome_note(outcome_with({{"seam", 3}, {"mix-copy", 2}, {"leak", 1}})),
            "1 leak, 2 mix-copies, 3 seams");
}

TEST(BatchReport, GivesNoPluralToCodesThatNameNoThing) {
  EXPECT_EQ(outcome_note(outcome_with({{"silent", 2}, {"wrong-rate", 2}, {"thin-evidence", 2}})),
            "2 silent, 2 thin-evidence, 2 wrong-rate");
}

TEST(BatchReport, LeavesStandingsAsTheyAre) {
  const std::string text = batch_text({outcome_with({{"seam", 3}})}, BatchMode::conform, 100);
  EXPECT_NE(text.find("3 firm"), std::string::npos) << text;
  EXPECT_NE(text.find("3 seams"), std::string::npos) << text;
}

TEST(BatchReport, GivesAWideBoundItsUnit) {
  BatchOutcome outcome = outcome_with({});
  outcome.record.worst_uncertainty_us = 60e3;
  EXPECT_NE(batch_text({outcome}, BatchMode::conform, 100).find("60 ms"), std::string::npos);
  outcome.record.worst_uncertainty_us = 225e6;
  EXPECT_NE(batch_text({outcome}, BatchMode::conform, 100).find("> 1 s"), std::string::npos);
}

}  // namespace
}  // namespace kilter::commands
