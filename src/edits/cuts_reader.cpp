#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <locale>
#include <sstream>
#include <string_view>

#include "cut_columns.h"
#include "kilter/edits/cuts.h"
#include "kilter/edits/text_file.h"

namespace kilter::edits {
namespace {

constexpr const char* kNextStep =
    "mend the line, or take the table that conform wrote and change it again";
// More than any file holds.
constexpr std::int64_t kMostFrames = std::int64_t{1} << 48;
constexpr double kFarthest_frames = 1e15;

using Cells = std::vector<std::string>;

Cells cells_of(std::string_view line) {
  Cells cells;
  for (std::size_t at = 0;;) {
    const std::size_t tab = std::min(line.find('\t', at), line.size());
    cells.emplace_back(line.substr(at, tab - at));
    if (tab == line.size()) return cells;
    at = tab + 1;
  }
}

/// Without the quotes that a spreadsheet may put round a cell. Our own cells hold none.
std::string unquoted(const std::string& cell) {
  if (cell.size() < 2 || cell.front() != '"' || cell.back() != '"') return cell;
  std::string text;
  for (std::size_t i = 1; i + 1 < cell.size(); ++i) {
    text += cell[i];
    if (cell[i] == '"' && cell[i + 1] == '"') ++i;
  }
  return text;
}

std::optional<int> hexadecimal(char digit) {
  if (digit >= '0' && digit <= '9') return digit - '0';
  if (digit >= 'A' && digit <= 'F') return digit - 'A' + 10;
  if (digit >= 'a' && digit <= 'f') return digit - 'a' + 10;
  return std::nullopt;
}

/// Nothing where a backslash is followed by anything but xNN.
std::optional<std::string> unescaped(std::string_view cell) {
  std::string text;
  for (std::size_t i = 0; i < cell.size(); ++i) {
    if (cell[i] != '\\') {
      text += cell[i];
      continue;
    }
    if (i + 3 >= cell.size() || cell[i + 1] != 'x') return std::nullopt;
    const auto high = hexadecimal(cell[i + 2]);
    const auto low = hexadecimal(cell[i + 3]);
    if (!high || !low || (*high == 0 && *low == 0)) return std::nullopt;  // no name holds a zero
    text += static_cast<char>(*high * 16 + *low);
    i += 3;
  }
  return text;
}

/// Independent of the user's language, which may have a comma for the point.
template <typename Number>
std::optional<Number> number_from(const std::string& cell) {
  std::istringstream in(cell);
  in.imbue(std::locale::classic());
  Number number{};
  if (cell.empty() || cell.front() == ' ' || !(in >> number) || in.peek() != EOF)
    return std::nullopt;
  return number;
}

class TableReader {
 public:
  explicit TableReader(const std::filesystem::path& file) { table_.file = file; }

  void line(std::size_t number, std::string text) {
    line_ = number;
    if (!text.empty() && text.back() == '\r') text.pop_back();
    if (number == 1 && text.starts_with("\xEF\xBB\xBF")) text.erase(0, 3);
    if (text.find_first_not_of('\t') == std::string::npos) return;
    if (text.front() == '#' || text.starts_with("\"#")) {
      comment(text);
      return;
    }
    cells_ = cells_of(text);
    for (std::string& cell : cells_) cell = unquoted(cell);
    if (names_known_)
      row();
    else
      names();
  }

  Result<CutTable> take() {
    if (!error_ && !names_known_) fail("there is no line that names the columns");
    if (error_) return *error_;
    return std::move(table_);
  }
  bool failed() const { return error_.has_value(); }

 private:
  void fail(const std::string& what) {
    if (!error_)
      error_ = Error{ErrorKind::unreadable, table_.file, fmt::format("line {}: {}", line_, what),
                     kNextStep};
  }
  void fail(CutColumn column, const std::string& expected) {
    const auto at = static_cast<std::size_t>(column);
    if (!error_)
      error_ = Error{ErrorKind::unreadable, table_.file,
                     fmt::format("line {}, column {} ({}): \"{}\" is not {}", line_, place_[at] + 1,
                                 kCutColumns[at], cell(column), expected),
                     kNextStep};
  }

  /// "# timeline: the clock of mix, 48000 frames a second, .."
  void comment(const std::string& text) {
    constexpr std::string_view kUnit = " frames a second";
    const std::size_t at = text.find(kTimelineComment);
    const std::size_t unit = text.find(kUnit);
    if (at == std::string::npos || unit == std::string::npos) return;
    const std::size_t comma = text.rfind(", ", unit);
    if (comma == std::string::npos) return;
    table_.timeline_rate_hz = number_from<double>(text.substr(comma + 2, unit - comma - 2));
  }

  void names() {
    names_known_ = true;
    if (cells_.size() < 2)
      fail("its columns are not parted by tabs; save the table as tab-separated text in UTF-8");
    for (std::size_t i = 0; i < kCutColumns.size(); ++i) {
      const auto found = std::find(cells_.begin(), cells_.end(), kCutColumns[i]);
      if (found != cells_.end())
        place_[i] = static_cast<std::size_t>(found - cells_.begin());
      else if (!for_people(static_cast<CutColumn>(i)))
        fail(fmt::format("the column {} is missing", kCutColumns[i]));
    }
  }

  static bool for_people(CutColumn column) {
    return column == CutColumn::timeline_last || column == CutColumn::start ||
           column == CutColumn::timecode || column == CutColumn::percent ||
           column == CutColumn::findings;
  }

  /// Empty where the row is short: what must be there then says so itself.
  const std::string& cell(CutColumn column) const {
    static const std::string kNone;
    const std::size_t at = place_[static_cast<std::size_t>(column)];
    return at < cells_.size() ? cells_[at] : kNone;
  }

  std::string text(CutColumn column) {
    const std::string& written = cell(column);
    const auto plain = unescaped(written);
    if (!plain) fail(column, "a text in which every backslash begins \\xNN");
    if (written.find('\0') != std::string::npos) fail(column, "a text without zero bytes");
    return plain.value_or("");
  }

  double number(CutColumn column, double least, double most, const char* expected) {
    const auto value = number_from<double>(cell(column));
    if (value && *value >= least && *value <= most) return *value;
    fail(column, expected);
    return 1.0;
  }

  std::int64_t whole_number(CutColumn column, std::int64_t least, std::int64_t most,
                            const char* expected) {
    const auto value = number_from<std::int64_t>(cell(column));
    if (value && *value >= least && *value <= most) return *value;
    fail(column, expected);
    return least;
  }

  void row() {
    CutRow row;
    row.line = line_;
    row.track = text(CutColumn::track);
    row.file = text(CutColumn::file);
    row.channel = static_cast<int>(
        whole_number(CutColumn::channel, 1, 1'000'000, "a channel, a whole number from 1"));
    row.source_rate_hz =
        number(CutColumn::source_rate, 1.0, 1e9, "a sample rate in hertz, for example 48000");
    row.source_first =
        whole_number(CutColumn::source_first, 0, kMostFrames, "a frame, a whole number from 0");
    row.source_last = whole_number(CutColumn::source_last, row.source_first, kMostFrames,
                                   "a frame at or after source_first, a whole number");
    row.timeline_first = place(CutColumn::timeline_first);
    if (!cell(CutColumn::timeline_last).empty())
      row.timeline_last = place(CutColumn::timeline_last);
    row.start = cell(CutColumn::start);
    row.speed = number(CutColumn::speed, 0.05, 20.0,
                       "a speed from 0.05 to 20 with a point, for example 1.000023");
    row.inverted = one_of(CutColumn::polarity, "normal", "inverted") == 1;
    row.standing =
        one_of(CutColumn::standing, "firm", "shaky") == 1 ? Standing::shaky : Standing::firm;
    row.uncertainty_us =
        number(CutColumn::uncertainty_us, 0.0, 1e12, "a number of microseconds from 0");
    row.recorder = text(CutColumn::recorder);
    table_.rows.push_back(std::move(row));
  }

  double place(CutColumn column) {
    return number(column, -kFarthest_frames, kFarthest_frames,
                  "a number of frames with a point, for example 5392479.221902");
  }

  int one_of(CutColumn column, const char* first, const char* second) {
    if (cell(column) == first) return 0;
    if (cell(column) != second) fail(column, fmt::format("{} or {}", first, second));
    return 1;
  }

  CutTable table_;
  std::optional<Error> error_;
  std::size_t line_{0};
  bool names_known_{false};
  /// Where each column stands; beyond every row where the table has none.
  std::array<std::size_t, kCutColumns.size()> place_ = none();
  Cells cells_;

  static constexpr std::array<std::size_t, kCutColumns.size()> none() {
    std::array<std::size_t, kCutColumns.size()> places{};
    places.fill(SIZE_MAX);
    return places;
  }
};

}  // namespace

Result<CutTable> cuts_from_text(const std::string& text, const std::filesystem::path& file) {
  TableReader reader(file);
  std::istringstream lines(text);
  std::size_t number = 0;
  for (std::string line; !reader.failed() && std::getline(lines, line);)
    reader.line(++number, std::move(line));
  return reader.take();
}

Result<CutTable> read_cuts(const std::filesystem::path& file) {
  const auto text = read_text(file);
  if (!text) return text.error();
  return cuts_from_text(*text, file);
}

}  // namespace kilter::edits
