// Findings, numbered across a whole report, so that a table's row can point at them.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "kilter/base/lineup.h"

namespace kilter::report {

class FindingList {
 public:
  /// Takes in the findings of one `owner` (a track's name; empty: the session). Returns their
  /// numbers as a table's note shows them: "1, 2" or "1-3".
  std::string add(std::string_view owner, const std::vector<Finding>& findings);
  /// A paragraph per finding; empty without findings.
  std::string text() const;

 private:
  std::vector<std::string> paragraphs_;
};

/// Of the session's: whether it questions the mix itself. All else rests on that, so it comes
/// first.
bool is_foremost(const Finding& finding);

/// A table's note: a word, and the numbers of findings; either may be empty.
std::string note_of(const std::string& word, const std::string& numbers);

/// "3 tracks", "1 track".
std::string counted(std::size_t count, std::string_view noun);

}  // namespace kilter::report
