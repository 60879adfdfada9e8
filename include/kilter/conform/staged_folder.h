// An output folder whose content appears whole or not at all.
#pragma once

#include <filesystem>
#include <set>
#include <vector>

#include "kilter/base/result.h"

namespace kilter::conform {

/// A temporary folder that takes the place of the wanted one, DIR, in commit(): beside a DIR that
/// is still missing, hidden inside one that exists (which may be a mount point, or a folder that
/// somebody stands in). Destroyed without commit(), it is removed with all it holds, and everything
/// is as it was.
class StagedFolder {
 public:
  /// Makes the temporary folder, and DIR's parents where they are missing.
  /// Fails with bad_command when DIR holds something and `replace` is off, or when it holds no
  /// earlier result (known by a lineup.json that can be read and by its edits/cuts.tsv); hidden
  /// files do not count. Fails with cannot_write when the folder cannot be made.
  static Result<StagedFolder> make(const std::filesystem::path& dir, bool replace);
  StagedFolder(StagedFolder&& other) noexcept;
  StagedFolder& operator=(StagedFolder&&) = delete;
  ~StagedFolder();

  /// Where to write until commit().
  const std::filesystem::path& path() const { return staging_; }
  /// Moves everything in place. Only files are replaced that the new result holds or that the
  /// earlier one names (its lineup, its edit lists, the stems of its tracks); whatever else lies in
  /// DIR or in its folders is kept. Fails with cannot_write, DIR being as it was.
  Result<void> commit();

 private:
  StagedFolder() = default;
  Result<void> commit_into_existing();

  std::filesystem::path dir_;
  std::filesystem::path staging_;
  bool dir_existed_{false};
  std::set<std::filesystem::path> earlier_files_;    // relative to DIR
  std::vector<std::filesystem::path> made_parents_;  // outermost first
};

}  // namespace kilter::conform
