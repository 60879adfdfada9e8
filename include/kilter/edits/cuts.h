// cuts.tsv: where every stretch of every original file belongs, as a plain table that people read
// and mend.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/edits/record_time.h"

namespace kilter::edits {

/// A row per cut (a stretch of one file that the map keeps in one piece), below a comment that
/// explains the columns, how to place a file by hand and how to overrule a row. Unplaced tracks get
/// a comment line. Places are exact to a thousandth of a frame: the rows alone tell the map.
std::string cuts_text(const Lineup& lineup, const RecordTime& record);

/// Through NAME.part, so that `file` is never half written. Fails with cannot_write.
Result<void> write_cuts(const Lineup& lineup, const RecordTime& record,
                        const std::filesystem::path& file);

/// A row as it was read. What stands there for people only is not in it.
struct CutRow {
  std::size_t line{0};  ///< in the file, from 1
  std::string track;
  std::string file;
  int channel{1};
  double source_rate_hz{0.0};
  std::int64_t source_first{0};
  std::int64_t source_last{0};
  double timeline_first{0.0};           ///< frames of the timeline
  std::optional<double> timeline_last;  ///< for checking
  std::string start;                    ///< for checking; may be empty
  double speed{1.0};
  bool inverted{false};
  Standing standing{Standing::firm};
  double uncertainty_us{0.0};
  std::string recorder;
};

struct CutTable {
  std::filesystem::path file;
  std::optional<double> timeline_rate_hz;  ///< where the comment that names it is still there
  std::vector<CutRow> rows;
};

/// Reads a table whose columns may stand in another order, among others, and as a spreadsheet may
/// have saved it (CR LF, a byte order mark, empty rows, cells in quotes). Fails (unreadable) with
/// the line, the column and what is expected there.
Result<CutTable> cuts_from_text(const std::string& text, const std::filesystem::path& file);
Result<CutTable> read_cuts(const std::filesystem::path& file);

/// The lineup with what the table says otherwise: a person has the last word. A track whose rows
/// say what the lineup does stays as it is, to the last bit; a changed one gets a finding
/// `overruled` that says what it was; a used one without rows is left out (role ignore). Fails
/// (unreadable) with the line and the column where the table cannot be of this lineup, contradicts
/// itself, or puts two cuts of a track over each other.
Result<Lineup> overruled(const Lineup& lineup, const CutTable& table);

}  // namespace kilter::edits
