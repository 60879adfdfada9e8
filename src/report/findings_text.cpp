#include "findings_text.h"

#include <fmt/format.h>

#include <algorithm>

#include "kilter/base/clock_text.h"
#include "kilter/report/text_table.h"

namespace kilter::report {
namespace {

constexpr const char* kOfTimeline = " of the timeline";

/// "1, 2", "1-3, 7"; `numbers` may come in any order and more than once.
std::string ranges(std::vector<int> numbers) {
  std::sort(numbers.begin(), numbers.end());
  numbers.erase(std::unique(numbers.begin(), numbers.end()), numbers.end());
  std::string text;
  for (std::size_t i = 0; i < numbers.size();) {
    std::size_t last = i;
    while (last + 1 < numbers.size() && numbers[last + 1] == numbers[last] + 1) ++last;
    if (last < i + 2) last = i;  // of two, both are told
    text += (text.empty() ? "" : ", ") + std::to_string(numbers[i]);
    if (last > i) text += '-' + std::to_string(numbers[last]);
    i = last + 1;
  }
  return text;
}

}  // namespace

std::string text_with_clocks(const Finding& finding, const TimeMap* map, std::string_view whose) {
  if (!finding.at_s) return finding.text;
  const std::string own = clock_text(*finding.at_s);
  if (finding.line_s) {
    const std::size_t line = finding.text.find("at " + clock_text(*finding.line_s) + kOfTimeline);
    if (line == std::string::npos) return finding.text;
    return std::string(finding.text).insert(line + 3, fmt::format("{} of the {}, ", own, whose));
  }
  const std::size_t found = finding.text.find("at " + own);
  if (found == std::string::npos) return finding.text;
  const std::size_t end = found + 3 + own.size();
  if (finding.text.compare(end, 4, " of ") == 0) return finding.text;
  std::string clocks = fmt::format(" of the {}", whose);
  if (const auto line_s = map == nullptr ? std::nullopt : map->to_line(*finding.at_s))
    if (const std::string line = clock_text(*line_s); line != own)
      clocks += ", " + line + kOfTimeline;
  return std::string(finding.text).insert(end, clocks);
}

const TimeMap* map_for_words(const LineupTrack& track, const Lineup& lineup) {
  // On another clock than the mix's, sentences keep to the mix's all the same.
  const bool is_moved = lineup.mix && lineup.timeline_clock != "mix";
  return track.map && !is_moved ? &*track.map : nullptr;
}

void agree_on(const Finding& finding, const std::string& told, std::string& text) {
  if (told != text) text = finding.text;
}

int FindingNumbers::number_of(const Finding& finding, const std::string& told, bool owned) {
  if (!owned) return ++count_;
  // A place on the timeline is one, wherever each recording has it.
  const std::string& alike = finding.line_s ? finding.text : told;
  const auto [known, is_new] = shared_.try_emplace({finding.code, alike}, count_ + 1);
  if (is_new) ++count_;
  return known->second;
}

std::string FindingList::add(std::string_view owner, const std::vector<Finding>& findings,
                             const TimeMap* map, std::string_view whose) {
  std::vector<int> numbers;
  for (const Finding& finding : findings) {
    const std::string text = text_with_clocks(finding, map, whose);
    const int number = numbers_.number_of(finding, text, !owner.empty());
    const auto index = static_cast<std::size_t>(number) - 1;
    if (index == paragraphs_.size()) paragraphs_.push_back({{}, text});
    agree_on(finding, text, paragraphs_[index].text);
    std::vector<std::string>& owners = paragraphs_[index].owners;
    if (!owner.empty() && (owners.empty() || owners.back() != owner)) owners.emplace_back(owner);
    numbers.push_back(number);
  }
  return ranges(std::move(numbers));
}

std::string FindingList::text() const {
  std::string text;
  for (std::size_t i = 0; i < paragraphs_.size(); ++i) {
    const Paragraph& each = paragraphs_[i];
    const std::string owners = each.owners.empty() ? "" : joined(each.owners) + ": ";
    text += wrapped(fmt::format("{:2}. {}", i + 1, printable(owners + each.text)), kTerminalColumns,
                    4) +
            '\n';
  }
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

std::string joined(const std::vector<std::string>& names) {
  return fmt::format("{}", fmt::join(names, ", "));
}

}  // namespace kilter::report
