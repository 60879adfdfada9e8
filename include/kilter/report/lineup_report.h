// What `kilter align` and `kilter conform` tell.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/conform/conform.h"
#include "kilter/edits/record_time.h"
#include "kilter/report/text_table.h"

namespace kilter::report {

/// Whether somebody waits for the track: not for a copy of the mix, nor for what is left out as
/// told.
bool is_a_persons(const LineupTrack& track);

/// A row per track, a sentence that sums up, then what a person should know, numbered. The
/// table takes up to `columns` cells, sentences no more than they do in 80.
std::string lineup_text(const Lineup& lineup, int columns = kTerminalColumns);

/// The edit lists beside the stems.
struct WrittenLists {
  std::vector<std::filesystem::path> files;  ///< relative to edits/
  edits::RecordTime record;
};

/// Where the stems are, how long they are, which are missing and why, and where samples were cut
/// off. `report` is of `lineup`. `out`: as the user named it.
std::string conform_text(const conform::ConformReport& report, const Lineup& lineup,
                         const WrittenLists& lists, const std::filesystem::path& out,
                         const std::string& sample_format);

/// One JSON document: the stems, the edit lists and, below "lineup", the lineup as in lineup.json.
std::string conform_json(const conform::ConformReport& report, const Lineup& lineup,
                         const WrittenLists& lists, const std::filesystem::path& out);

}  // namespace kilter::report
