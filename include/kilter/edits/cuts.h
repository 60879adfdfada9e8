// cuts.tsv: where every stretch of every original file belongs, as a plain table.
#pragma once

#include <filesystem>
#include <string>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"

namespace kilter::edits {

/// A row per cut (a stretch of one file that the map keeps in one piece), below a comment that
/// explains the columns and how to place a file by hand. Unplaced tracks get a comment line.
std::string cuts_text(const Lineup& lineup);

/// Through NAME.part, so that `file` is never half written. Fails with cannot_write.
Result<void> write_cuts(const Lineup& lineup, const std::filesystem::path& file);

}  // namespace kilter::edits
