// All that stands in a result's edits/ folder.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/edits/event_list.h"
#include "kilter/edits/record_time.h"

namespace kilter::edits {

struct EditFilesPlan {
  std::string name;                      ///< the session's, fit for a file name
  std::vector<std::string> track_names;  ///< of the used tracks, in order, fit for file names
  RecordTime record;
  StemSet stems;
  std::string session_folder;  ///< absolute, as are
  std::string stems_folder;    ///< these
  std::string created;         ///< a date as yyyy-mm-ddThh:mm:ssZ
  SourceFactsOf facts_of{};    ///< of the original files
};

/// Writes into `folder`, which is made: cuts.tsv; NAME.edl (and NAME-2.edl.. for more than 999
/// events) and NAME.adl of the original files; NAME-stems.edl and, where there is a name for their
/// rate, NAME-stems.adl; of more than two tracks also by-track/TRACK.edl (by-track/2/TRACK.edl..).
/// Gives the files, relative to `folder`. Fails with cannot_write.
Result<std::vector<std::filesystem::path>> write_edit_files(const Lineup& lineup,
                                                            const EditFilesPlan& plan,
                                                            const std::filesystem::path& folder);

/// Those of an earlier write_edit_files() that are in `folder`, as their names tell.
std::vector<std::filesystem::path> edit_files_in(const std::filesystem::path& folder,
                                                 const std::string& name,
                                                 const std::vector<std::string>& track_names);

}  // namespace kilter::edits
