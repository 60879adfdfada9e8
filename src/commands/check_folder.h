// Whether a folder of stems is as conform left it.
#pragma once

#include <filesystem>

#include "kilter/report/check_report.h"
#include "kilter/survey/survey.h"

namespace kilter::commands {

/// Stems of the folder's own lineup that are not there, or not as long as the mix: a folder that
/// conform wrote is whole, or it does not pass. A folder without a lineup is passed over.
void tell_what_is_not_whole(const std::filesystem::path& dir, const survey::Survey& survey,
                            report::CheckReport& report);

/// Files that hold, to the sample, what conform wrote under another's name.
void tell_what_is_swapped(const std::filesystem::path& dir, const survey::Survey& survey,
                          report::CheckReport& report);

}  // namespace kilter::commands
