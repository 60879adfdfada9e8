// What edit lists say of the original files beside their places.
#pragma once

#include <filesystem>

#include "kilter/base/lineup.h"
#include "kilter/edits/record_time.h"

namespace kilter::commands {

/// Picture and timecode of every part of the lineup, read from the files' headers now. A file that
/// cannot be read has neither: whoever reads its sound tells.
edits::SourceFactsOf source_facts(const Lineup& lineup, const std::filesystem::path& folder);

}  // namespace kilter::commands
