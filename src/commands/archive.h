// The sessions below a folder.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "kilter/base/result.h"

namespace kilter::commands {

struct ArchivedSession {
  std::string name;              ///< its path below the archive, with '/'; the archive's own: "."
  std::filesystem::path folder;  ///< to open it by
  /// For results, relative to where they go: legal on every system, another for each session, and
  /// none inside another's.
  std::filesystem::path result;
};

/// Something below the archive that may be missed.
struct PassedOver {
  std::string name;
  std::string why;         ///< goes on behind the name: "holds a single audio file .."
  bool is_failure{false};  ///< nobody knows what is in it
};

struct Archive {
  std::vector<ArchivedSession> sessions;  ///< in order for people
  std::vector<PassedOver> passed_over;
};

/// Every folder at or below `archive` that holds a session.toml, or two or more audio files of its
/// own. Folders that a session's own files lie in are part of it. Not looked into: hidden folders,
/// links to folders, what conform wrote or is writing, and `except`. Fails (no_input) where
/// `archive` is no folder that can be read.
/// Cost: opens every file whose name does not tell whether it is sound.
Result<Archive> find_sessions(const std::filesystem::path& archive,
                              const std::optional<std::filesystem::path>& except);

/// Which of `parts` equal shares a session belongs to, from 1: the same on every machine, whatever
/// else lies in the archive.
int part_of(const std::string& name, int parts);

}  // namespace kilter::commands
