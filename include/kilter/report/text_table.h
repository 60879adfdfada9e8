// Tables and paragraphs for a terminal.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace kilter::report {

/// Width that everything is laid out for.
inline constexpr int kTerminalColumns = 80;

/// The text with "?" for control characters and for what is not UTF-8: file names come from
/// anywhere and must not steer a terminal.
std::string printable(std::string_view text);

/// Terminal cells that printable UTF-8 takes: two for wide characters, none for combining marks.
int display_width(std::string_view text);

/// `text` in at most `width` cells (at least 3), its middle replaced by "..." where it is longer:
/// names of takes differ at their ends.
std::string cut_middle(std::string_view text, int width);

/// Words over several lines of at most `columns` cells, each but the first indented.
std::string wrapped(std::string_view text, int columns, int indent);

/// What becomes of a column's texts when the table is too wide.
enum class TooWide {
  stay,
  cut,   ///< in the middle: names
  fold,  ///< over several lines, after commas or between words: what must be read to its end
};

struct Column {
  std::string title;
  std::string unit;  ///< below the title; may be empty
  bool right{false};
  TooWide too_wide{TooWide::stay};
};

/// A table with two spaces between columns and a line end after each row. Rows have a text per
/// column, made printable here. Wider than `columns` only where nothing more can shrink.
std::string text_table(const std::vector<Column>& columns,
                       const std::vector<std::vector<std::string>>& rows, int width);

}  // namespace kilter::report
