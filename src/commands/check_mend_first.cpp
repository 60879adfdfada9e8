#include "check_mend_first.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "check_verdicts.h"
#include "lineup_builder.h"

namespace kilter::commands {

using report::CheckedStem;
using report::Verdict;

namespace {

constexpr double kAlike_s = 0.1e-3;

/// Whether what others hear of this stem's person may be taken for themselves.
bool misleads(const CheckedStem& other, const CheckedStem& stem) {
  const bool is_gone = other.verdict == Verdict::no_evidence && !report::hardly_sounds(other);
  // What is off alike, as all of a recorder is by its loss, is off for a reason of its own.
  const bool is_off = other.worst_s && other.verdict == Verdict::beyond && stem.worst_s &&
                      std::abs(*other.worst_s) > std::abs(*stem.worst_s) + kAlike_s;
  return is_gone || is_off || holds(other.findings, "missing-stem");
}

}  // namespace

void tell_whom_to_mend_first(std::vector<CheckedStem>& stems) {
  const auto may_be_misled = [](const CheckedStem& stem) {
    return stem.verdict == Verdict::beyond || holds(stem.findings, "excursion");
  };
  const auto is_misled = [&](const CheckedStem& stem) {
    return may_be_misled(stem) && std::any_of(stems.begin(), stems.end(), [&](const auto& each) {
             return each.name != stem.name && misleads(each, stem);
           });
  };
  std::vector<std::string> firsts(stems.size());
  for (std::size_t i = 0; i < stems.size(); ++i) {
    if (!may_be_misled(stems[i])) continue;
    const auto other = std::find_if(stems.begin(), stems.end(), [&](const CheckedStem& each) {
      return each.name != stems[i].name && misleads(each, stems[i]) && !is_misled(each);
    });
    if (other != stems.end()) firsts[i] = other->name;
  }
  for (std::size_t i = 0; i < stems.size(); ++i)
    if (!firsts[i].empty())
      stems[i].findings.push_back(check_finding(
          "mend-first", "See to \"" + firsts[i] +
                            "\" first and check again: what this microphone hears of that person "
                            "from across the room may be what was measured."));
}

}  // namespace kilter::commands
