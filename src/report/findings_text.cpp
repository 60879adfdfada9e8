#include "findings_text.h"

#include <fmt/format.h>

#include "kilter/report/text_table.h"

namespace kilter::report {

std::string FindingList::add(std::string_view owner, const std::vector<Finding>& findings) {
  if (findings.empty()) return {};
  const std::size_t first = paragraphs_.size() + 1;
  for (const Finding& finding : findings) {
    std::string paragraph = printable(owner);
    if (!paragraph.empty()) paragraph += ": ";
    paragraphs_.push_back(paragraph + printable(finding.text));
  }
  const std::size_t last = paragraphs_.size();
  if (first == last) return std::to_string(first);
  return fmt::format("{}{}{}", first, last == first + 1 ? ", " : "-", last);
}

std::string FindingList::text() const {
  std::string text;
  for (std::size_t i = 0; i < paragraphs_.size(); ++i)
    text += wrapped(fmt::format("{:2}. {}", i + 1, paragraphs_[i]), kTerminalColumns, 4) + '\n';
  return text;
}

bool is_foremost(const Finding& finding) {
  return finding.code == "several-mixes" || finding.code == "wrong-rate";
}

std::string note_of(const std::string& word, const std::string& numbers) {
  return word.empty() || numbers.empty() ? word + numbers : word + "; " + numbers;
}

std::string counted(std::size_t count, std::string_view noun) {
  return fmt::format("{} {}{}", count, noun, count == 1 ? "" : "s");
}

}  // namespace kilter::report
