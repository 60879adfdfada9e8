// An output folder that appears whole or not at all.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "kilter/base/result.h"

namespace kilter::conform {

/// A folder NAME.part beside the wanted folder NAME, which takes its place in commit(). Destroyed
/// without commit(), it is removed with all it holds, and NAME is as it was.
class StagedFolder {
 public:
  /// Makes NAME.part, and NAME's parents where they are missing. Fails with bad_command when NAME
  /// is not empty and `replace` is off, or when it holds anything but an earlier result (known by
  /// its lineup.json); with cannot_write when NAME.part cannot be made.
  static Result<StagedFolder> make(const std::filesystem::path& folder, bool replace);
  StagedFolder(StagedFolder&& other) noexcept;
  StagedFolder& operator=(StagedFolder&&) = delete;
  ~StagedFolder();

  /// Where to write meanwhile.
  const std::filesystem::path& path() const { return staging_; }
  /// Moves the folder in place. Of an earlier result only what conform writes is replaced; what
  /// else lies beside it is kept. Fails with cannot_write, NAME being as it was.
  Result<void> commit();

 private:
  StagedFolder() = default;
  Result<void> replace_earlier();

  std::filesystem::path folder_;
  std::filesystem::path staging_;
  std::vector<std::filesystem::path> made_parents_;  // innermost last
  bool done_{false};
};

}  // namespace kilter::conform
