// What an earlier run wrote into a folder, and whether it still lies there as it was written.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <set>
#include <system_error>

#include "kilter/base/result.h"
#include "kilter/conform/staged_folder.h"

namespace kilter::conform {

/// Names in an output folder, relative to it.
inline constexpr const char* kLineup = "lineup.json";
inline constexpr const char* kCuts = "edits/cuts.tsv";

/// Whether a folder holds anything but hidden files.
bool holds_something(const std::filesystem::path& dir, std::error_code& problem);

class EarlierResult {
 public:
  /// None.
  EarlierResult() = default;
  /// That in `dir`, none where it holds nothing. Reads every stem whose digest its lineup keeps.
  /// Fails with bad_command where `dir` holds something else, or a stem is no longer what was
  /// written, or the table of cuts, unless that is the one that was `taken_over`; with unreadable
  /// where what lies there cannot be read; with interrupted.
  static Result<EarlierResult> find(const std::filesystem::path& dir,
                                    const std::filesystem::path& taken_over, const Watch& watch);

  /// Those of its files that are there, relative to the folder.
  const std::set<std::filesystem::path>& files() const { return files_; }
  /// Whether a file that is there, by its path relative to the folder, is one of them: also where
  /// the file system has one file for two spellings, and the result another than the one asked for.
  bool has(const std::filesystem::path& file) const;
  /// Why the lineup, a stem or the table of cuts may not be replaced, if so: it was changed since
  /// find() saw it.
  std::optional<Error> change() const;

 private:
  /// What tells without reading that a file is still the same.
  struct Seen {
    std::uintmax_t bytes{0};
    std::filesystem::file_time_type written;
    bool operator==(const Seen&) const = default;
  };
  static Seen look_at(const std::filesystem::path& file);

  std::filesystem::path dir_;
  std::set<std::filesystem::path> files_;
  std::map<std::filesystem::path, Seen> seen_;  // by path
};

}  // namespace kilter::conform
