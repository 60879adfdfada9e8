#include "kilter/report/text_table.h"

#include <algorithm>
#include <array>
#include <cstdint>

#include "kilter/base/utf8.h"

namespace kilter::report {
namespace {

constexpr std::string_view kCut = "...";
constexpr int kLeastShrunk = 10;
struct Range {
  char32_t from, to;
};

bool is_in(char32_t code, const auto& ranges) {
  return std::any_of(ranges.begin(), ranges.end(),
                     [&](const Range& range) { return code >= range.from && code <= range.to; });
}

int cells(char32_t code) {
  constexpr std::array kNone{Range{0x300, 0x36F}, Range{0x200B, 0x200F}, Range{0x20D0, 0x20FF},
                             Range{0xFE00, 0xFE0F}, Range{0xFEFF, 0xFEFF}};
  constexpr std::array kTwo{
      Range{0x1100, 0x115F}, Range{0x2E80, 0xA4CF},   Range{0xAC00, 0xD7A3},
      Range{0xF900, 0xFAFF}, Range{0xFE30, 0xFE6F},   Range{0xFF00, 0xFF60},
      Range{0xFFE0, 0xFFE6}, Range{0x1F300, 0x1FAFF}, Range{0x20000, 0x3FFFD}};
  if (is_in(code, kNone)) return 0;
  return is_in(code, kTwo) ? 2 : 1;
}

/// The longest start of `text` within `width` cells.
std::string_view start_within(std::string_view text, int width) {
  std::size_t at = 0;
  while (at < text.size()) {
    const Utf8Letter next = first_letter(text.substr(at));
    width -= cells(next.code);
    if (width < 0) break;
    at += next.bytes;
  }
  return text.substr(0, at);
}

/// The longest end of `text` within `width` cells.
std::string_view end_within(std::string_view text, int width) {
  std::size_t at = 0;
  while (display_width(text.substr(at)) > width) at += first_letter(text.substr(at)).bytes;
  return text.substr(at);
}

std::string padded(const std::string& text, int width, bool right) {
  const std::string blanks(static_cast<std::size_t>(std::max(0, width - display_width(text))), ' ');
  return right ? blanks + text : text + blanks;
}

using Row = std::vector<std::string>;

std::vector<int> widths_of(const std::vector<Row>& rows, std::size_t columns) {
  std::vector<int> widths(columns, 0);
  for (const Row& row : rows)
    for (std::size_t c = 0; c < columns; ++c)
      widths[c] = std::max(widths[c], display_width(row[c]));
  return widths;
}

/// Takes what is too much from the widest column that may shrink, cell by cell.
void shrink(const std::vector<Column>& columns, int too_much, std::vector<int>& widths) {
  for (; too_much > 0; --too_much) {
    int* widest = nullptr;
    for (std::size_t c = 0; c < columns.size(); ++c)
      if (columns[c].too_wide != TooWide::stay && widths[c] > kLeastShrunk &&
          (widest == nullptr || widths[c] > *widest))
        widest = &widths[c];
    if (widest == nullptr) return;
    --*widest;
  }
}

std::string line_of(const Row& row, const std::vector<Column>& columns,
                    const std::vector<int>& widths) {
  std::string line;
  for (std::size_t c = 0; c < columns.size(); ++c) {
    if (c > 0) line += "  ";
    line += padded(cut_middle(row[c], std::max(3, widths[c])), widths[c], columns[c].right);
  }
  line.erase(line.find_last_not_of(' ') + 1);
  return line + '\n';
}

/// A list over lines of at most `width` cells: after commas where its entries are no longer than a
/// line, else between words.
std::vector<std::string> folded(std::string_view text, int width) {
  std::vector<std::string> lines(1);
  while (!text.empty()) {
    const std::size_t comma = text.find(", ");
    const std::string_view entry =
        text.substr(0, comma == std::string_view::npos ? comma : comma + 1);
    text.remove_prefix(std::min(entry.size() + 1, text.size()));
    if (lines.back().empty()) {
      lines.back() = entry;
    } else if (display_width(lines.back()) + 1 + display_width(entry) <= width) {
      lines.back() += ' ';
      lines.back() += entry;
    } else {
      lines.emplace_back(entry);
    }
    const std::string in_words = wrapped(lines.back(), width, 0);
    lines.pop_back();
    for (std::size_t at = 0; at < in_words.size();) {
      const std::size_t end = std::min(in_words.find('\n', at), in_words.size());
      lines.push_back(in_words.substr(at, end - at));
      at = end + 1;
    }
  }
  return lines;
}

/// The row over as many lines as its longest folded text takes.
std::string lines_of(const Row& row, const std::vector<Column>& columns,
                     const std::vector<int>& widths) {
  std::vector<Row> lines{row};
  for (std::size_t c = 0; c < columns.size(); ++c) {
    if (columns[c].too_wide != TooWide::fold) continue;
    const auto texts = folded(row[c], widths[c]);
    if (lines.size() < texts.size()) lines.resize(texts.size(), Row(columns.size()));
    for (std::size_t line = 0; line < texts.size(); ++line) lines[line][c] = texts[line];
  }
  std::string text;
  for (const Row& line : lines) text += line_of(line, columns, widths);
  return text;
}

}  // namespace

std::string printable(std::string_view text) {
  std::string result;
  while (!text.empty()) {
    const Utf8Letter next = first_letter(text);
    if (!next.valid || is_control(next.code))
      result += '?';
    else
      result += text.substr(0, next.bytes);
    text.remove_prefix(next.bytes);
  }
  return result;
}

int display_width(std::string_view text) {
  int width = 0;
  while (!text.empty()) {
    const Utf8Letter next = first_letter(text);
    width += cells(next.code);
    text.remove_prefix(next.bytes);
  }
  return width;
}

std::string cut_middle(std::string_view text, int width) {
  if (display_width(text) <= width) return std::string(text);
  const int kept = std::max(0, width - static_cast<int>(kCut.size()));
  const std::string_view start = start_within(text, (kept + 1) / 2);
  const std::string_view end = end_within(text, kept - display_width(start));
  return std::string(start) + std::string(kCut) + std::string(end);
}

std::string wrapped(std::string_view text, int columns, int indent) {
  std::string result;
  int used = 0;
  while (!text.empty()) {
    // Blanks in front belong to the first word.
    const std::size_t start = std::min(text.find_first_not_of(' '), text.size());
    const std::size_t end = std::min(text.find(' ', start), text.size());
    const std::string_view word = text.substr(0, end);
    text.remove_prefix(std::min(end + 1, text.size()));
    const int width = display_width(word);
    if (used > 0 && used + 1 + width > columns) {
      result += '\n' + std::string(static_cast<std::size_t>(indent), ' ');
      used = indent;
    } else if (used > 0) {
      result += ' ';
      ++used;
    }
    result += word;
    used += width;
  }
  return result;
}

std::string text_table(const std::vector<Column>& columns, const std::vector<Row>& rows,
                       int width) {
  std::vector<Row> all(2);
  for (const Column& column : columns) {
    all[0].push_back(column.title);
    all[1].push_back(column.unit);
  }
  for (const Row& row : rows) {
    all.emplace_back();
    for (const std::string& text : row) all.back().push_back(printable(text));
  }
  std::vector<int> widths = widths_of(all, columns.size());
  int total = 2 * (static_cast<int>(columns.size()) - 1);
  for (const int each : widths) total += each;
  shrink(columns, total - width, widths);
  std::string text;
  for (const Row& row : all) text += lines_of(row, columns, widths);
  return text;
}

}  // namespace kilter::report
