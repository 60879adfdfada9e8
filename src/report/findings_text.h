// Findings, numbered across a whole report, so that a table's row can point at them.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/report/finding_words.h"

namespace kilter::report {

/// What is read of owners who share a number, where one of them is told otherwise than the rest:
/// without the clock on which they differ.
void agree_on(const Finding& finding, const std::string& told, std::string& text);

/// Counts findings from 1. What reads alike of several owners, as a recorder's loss does of all its
/// tracks, has one number.
class FindingNumbers {
 public:
  /// `owned`: by a track or the mix; what is the session's shares no number. `told`: as it is read.
  int number_of(const Finding& finding, const std::string& told, bool owned);

 private:
  int count_{0};
  std::map<std::pair<std::string, std::string>, int> shared_;
};

class FindingList {
 public:
  /// Takes in the findings of one `owner` (a track's name; empty: the session). `map` and `whose`:
  /// as for text_with_clocks(). Returns their numbers as a table's note shows them: "1, 2" or "1-3,
  /// 7".
  std::string add(std::string_view owner, const std::vector<Finding>& findings,
                  const TimeMap* map = nullptr, std::string_view whose = kRecording);
  /// A paragraph per number, with all who share it; empty without findings.
  std::string text() const;

 private:
  struct Paragraph {
    std::vector<std::string> owners;
    std::string text;
  };
  FindingNumbers numbers_;
  std::vector<Paragraph> paragraphs_;
};

/// Of the session's: whether it questions the mix itself. All else rests on that, so it comes
/// first.
bool is_foremost(const Finding& finding);

/// A table's note: a word, and the numbers of findings; either may be empty.
std::string note_of(const std::string& word, const std::string& numbers);

/// "3 tracks", "1 track".
std::string counted(std::size_t count, std::string_view noun);

/// "cook, keeper, mate"
std::string joined(const std::vector<std::string>& names);

}  // namespace kilter::report
