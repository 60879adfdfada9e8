// cuts.tsv, as a person or a spreadsheet left it: an error with line and column, or rows; and of
// rows that fit the lineup a lineup that agrees with itself.
#include <cmath>

#include "fuzz.h"
#include "kilter/edits/cuts.h"
#include "kilter/edits/lineup_file.h"
#include "sample_lineup.h"

namespace kilter::fuzz {
namespace {

void require_sensible(const edits::CutRow& row) {
  require(row.line > 0, "rows know their line");
  require(row.source_first >= 0 && row.source_last >= row.source_first, "a cut is not empty");
  require(std::isfinite(row.timeline_first) && std::isfinite(row.uncertainty_us), "numbers");
  require(row.speed >= 0.05 && row.speed <= 20.0, "speeds are near 1");
  require(!row.timeline_last || std::isfinite(*row.timeline_last), "numbers");
}

}  // namespace

void try_input(Input input) {
  static const Lineup lineup = edits::sample_lineup();
  const auto table = edits::cuts_from_text(std::string(input.rest()), "cuts.tsv");
  if (!table) {
    require(table.error().kind == ErrorKind::unreadable, "a wrong table is unreadable");
    require_clear(table.error());
    return;
  }
  for (const edits::CutRow& row : table->rows) require_sensible(row);
  const auto overruled = edits::overruled(lineup, *table);
  if (!overruled) {
    require(overruled.error().kind == ErrorKind::unreadable, "a wrong table is unreadable");
    require_clear(overruled.error());
    return;
  }
  const auto kept = edits::lineup_from_text(edits::to_text(*overruled), "12.lineup.json");
  require(static_cast<bool>(kept), "a lineup by hand is written and read");
  const auto written = edits::cuts_from_text(edits::cuts_text(*overruled, {}), "cuts.tsv");
  require(static_cast<bool>(written), "its cuts are written and read");
  const auto again = edits::overruled(*overruled, *written);
  require(static_cast<bool>(again), "and are its cuts");
  require(edits::to_text(*again) == edits::to_text(*overruled), "which change nothing");
}

}  // namespace kilter::fuzz
