// What `kilter align` and `kilter conform` tell.
#pragma once

#include <filesystem>
#include <string>

#include "kilter/base/lineup.h"
#include "kilter/conform/conform.h"

namespace kilter::report {

/// A row per track, a sentence that sums up, then what a person should know, numbered.
std::string lineup_text(const Lineup& lineup);

/// Where the stems are, how long they are, and which are missing. `out`: as the user named it.
std::string conform_text(const conform::ConformReport& report, const std::filesystem::path& out,
                         const std::string& sample_format);

/// One JSON document: the stems and, below "lineup", the lineup as in lineup.json.
std::string conform_json(const conform::ConformReport& report, const Lineup& lineup,
                         const std::filesystem::path& out);

}  // namespace kilter::report
