// Whether a folder of stems is as conform left it.
#pragma once

#include <filesystem>
#include <optional>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/report/check_report.h"
#include "kilter/survey/survey.h"
#include "kilter/sync/unexplained.h"

namespace kilter::commands {

/// The lineup that conform left beside the stems; nothing where there is none. One that cannot be
/// read is told.
std::optional<Lineup> lineup_left_in(const std::filesystem::path& dir, report::CheckReport& report);

/// What of the first `length_s` seconds none of the stretches holds.
std::vector<Stretch> gaps_between(std::vector<Stretch> placed, double length_s);

/// On the stems' time: where no recording of the lineup lies.
std::vector<Stretch> not_recorded(const Lineup& lineup);

/// Stems of that lineup that are not there, are the mix, or not as long as it: a folder that
/// conform wrote is whole, or it does not pass.
void tell_what_is_not_whole(const Lineup& lineup, const std::filesystem::path& stems,
                            const survey::Survey& survey, report::CheckReport& report);

/// Files that hold, to the sample, what conform wrote under another's name.
void tell_what_is_swapped(const Lineup& lineup, const survey::Survey& survey,
                          report::CheckReport& report);

/// Without a lineup: stems that end before the mix does, of which a part may be missing.
void tell_what_ends_early(const survey::Survey& survey, report::CheckReport& report);

/// Stems that are digital silence where the mix holds somebody whom no stem explains, and whom the
/// tracks did explain when that lineup was made. Fails where a stem's signal cannot be read.
Result<void> tell_what_was_emptied(const Lineup& lineup, const survey::Survey& survey,
                                   const sync::Unexplained& unexplained,
                                   report::CheckReport& report);

}  // namespace kilter::commands
