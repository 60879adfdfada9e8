// An output folder whose content appears whole or not at all.
#pragma once

#include <atomic>
#include <filesystem>
#include <functional>
#include <memory>

#include "kilter/base/result.h"

namespace kilter::conform {

/// Over work that takes a while.
struct Watch {
  std::function<void(double done)> progress;  ///< called with 0..1; may be empty
  const std::atomic<bool>* stop{nullptr};     ///< when true, the work is given up; may be null
};

/// What may give way to a new result.
struct Replacing {
  // NOLINTNEXTLINE(google-explicit-constructor): all or nothing is the rule
  Replacing(bool is_allowed) : allowed(is_allowed) {}

  bool allowed;  ///< an earlier result
  /// A table of cuts that the new result follows: where it is the earlier result's, it may have
  /// been changed.
  std::filesystem::path cuts_taken_over;
};

/// A temporary folder that takes the place of the wanted one, DIR, in commit(): beside a DIR that
/// is still missing, hidden inside one that exists (which may be a mount point, or a folder that
/// somebody stands in). Destroyed without commit(), it is removed with all it holds, and everything
/// is as it was. What a killed process left behind is removed by the next make() for the same DIR,
/// which also puts an earlier result back that was being replaced when that happened.
class StagedFolder {
 public:
  /// Makes the temporary folder, and DIR's parents where they are missing.
  /// Fails with bad_command when DIR holds something and nothing may be replaced, when it holds no
  /// earlier result (known by a lineup.json that can be read and by its edits/cuts.tsv; hidden
  /// files do not count), when a stem there is no longer what the earlier run wrote, to the
  /// sample, or the table of cuts, to the letter: it is then somebody's work; or when something of
  /// somebody else's lies where an earlier result goes. Fails with unreadable
  /// when what lies there cannot be read, with cannot_write when the folder cannot be made, or with
  /// interrupted. Errors tell paths below `dir` as that was given. Cost: every stem of the earlier
  /// result is read once.
  static Result<StagedFolder> make(const std::filesystem::path& dir, const Replacing& replacing,
                                   const Watch& watch = {});
  StagedFolder(StagedFolder&& other) noexcept;
  StagedFolder& operator=(StagedFolder&&) = delete;
  ~StagedFolder();

  /// Where to write until commit().
  const std::filesystem::path& path() const;
  /// Waits until the disk holds everything, and moves it in place: a DIR that was missing appears
  /// at once; in one that exists the lineup.json goes first and comes last, so that a DIR with a
  /// lineup is whole at any moment. Only files are replaced that the new result holds or that the
  /// earlier one names (its lineup, its edit lists, the stems of its tracks, its listening clips);
  /// whatever else lies in DIR or in its folders is kept. Fails with cannot_write, or with
  /// bad_command where a file that would be replaced is none of the earlier result's or was changed
  /// since make(), DIR being as it was.
  Result<void> commit();

 private:
  struct State;
  explicit StagedFolder(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace kilter::conform
