// Whom check sends a reader to first, of several stems that are off.
#include "check_mend_first.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "check_verdicts.h"

namespace kilter::commands {
namespace {

using report::CheckedStem;
using report::Verdict;

CheckedStem beyond(const std::string& name, double late_s) {
  CheckedStem stem;
  stem.name = name;
  stem.verdict = Verdict::beyond;
  stem.worst_s = late_s;
  stem.findings = {check_finding("misaligned", "It stands off.")};
  return stem;
}

/// Whom the stem's finding sends to; empty: to nobody.
std::string first_of(const CheckedStem& stem) {
  const auto found = std::find_if(stem.findings.begin(), stem.findings.end(),
                                  [](const Finding& each) { return each.code == "mend-first"; });
  if (found == stem.findings.end()) return "";
  const auto from = found->text.find('"') + 1;
  return found->text.substr(from, found->text.find('"', from) - from);
}

TEST(MendFirst, SendsToTheOneThatSendsToNobody) {
  std::vector<CheckedStem> stems{beyond("cook", -0.002), beyond("keeper", 0.003),
                                 beyond("pilot", 0.060)};
  tell_whom_to_mend_first(stems);
  EXPECT_EQ(first_of(stems[0]), "pilot");
  EXPECT_EQ(first_of(stems[1]), "pilot");
  EXPECT_EQ(first_of(stems[2]), "");
}

TEST(MendFirst, SendsNobodyToAStemThatIsOffByAsMuch) {
  std::vector<CheckedStem> stems{beyond("cook", -0.050001), beyond("keeper", -0.05),
                                 beyond("mate", -0.049999)};
  tell_whom_to_mend_first(stems);
  for (const CheckedStem& stem : stems) EXPECT_EQ(first_of(stem), "") << stem.name;
}

TEST(MendFirst, SendsToAStemThatIsMissing) {
  CheckedStem missing;
  missing.name = "mate";
  missing.verdict = Verdict::no_evidence;
  missing.findings = {check_finding("missing-stem", "Its stem is not there.")};
  std::vector<CheckedStem> stems{beyond("cook", 0.006), missing};
  tell_whom_to_mend_first(stems);
  EXPECT_EQ(first_of(stems[0]), "mate");
  EXPECT_EQ(first_of(stems[1]), "");
}

}  // namespace
}  // namespace kilter::commands
