// lineup.json: the lineup as a file that scripts and people read and mend.
#pragma once

#include <filesystem>
#include <string>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"

namespace kilter::edits {

/// The lineup as JSON text, one value per line, numbers with every digit: lineup_from_text() gives
/// an equal lineup.
std::string to_text(const Lineup& lineup);

/// Reads what to_text() writes. Unknown keys are passed over, so that a later version may add some;
/// a missing key, a wrong type or an impossible value is an error (unreadable) that names it, for
/// example `tracks[2].spans[0].to_s`. `file` is for the error only. The spans rule: `start_s` and
/// `drift_ppm` are for people and are not read.
Result<Lineup> lineup_from_text(const std::string& text, const std::filesystem::path& file);

/// Through NAME.part, so that `file` is never half written. Fails with cannot_write.
Result<void> write_lineup(const Lineup& lineup, const std::filesystem::path& file);
/// Fails with unreadable.
Result<Lineup> read_lineup(const std::filesystem::path& file);

}  // namespace kilter::edits
