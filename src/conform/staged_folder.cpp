#include "kilter/conform/staged_folder.h"

#include <algorithm>
#include <optional>
#include <set>
#include <string>
#include <system_error>
#include <utility>

#include "kilter/conform/conform.h"
#include "kilter/edits/edit_files.h"
#include "kilter/edits/lineup_file.h"
#include "stem.h"

namespace kilter::conform {
namespace {

namespace fs = std::filesystem;

constexpr const char* kLineup = "lineup.json";
constexpr const char* kCuts = "edits/cuts.tsv";
const fs::path kEdits = "edits";

Error cannot_write(const fs::path& dir, const std::error_code& problem) {
  return {ErrorKind::cannot_write, dir, "cannot be written (" + problem.message() + ")",
          "check the path, your rights and the room on the disk, or choose another folder"};
}

bool is_hidden(const fs::path& entry) { return entry.filename().native().front() == '.'; }

bool holds_something(const fs::path& dir, std::error_code& problem) {
  fs::directory_iterator entry(dir, problem);
  for (; !problem && entry != fs::directory_iterator(); entry.increment(problem))
    if (!is_hidden(entry->path())) return true;
  return false;
}

/// Why results may not go into an existing `dir`, if so.
std::optional<Error> refusal(const fs::path& dir, bool replace) {
  std::error_code problem;
  if (!fs::is_directory(dir, problem))
    return Error{ErrorKind::cannot_write, dir, "it is not a folder", "choose another name"};
  const bool holds = holds_something(dir, problem);
  if (problem) return cannot_write(dir, problem);
  if (!holds) return std::nullopt;
  if (!replace)
    return Error{ErrorKind::bad_command, dir, "the folder already holds files",
                 "name another folder, or add --replace"};
  return std::nullopt;
}

/// The files of the earlier result in `dir`, as far as it tells them; none in a `dir` that holds
/// nothing. Fails where `dir` holds something else.
Result<std::set<fs::path>> earlier_files(const fs::path& dir) {
  std::error_code problem;
  const bool holds = holds_something(dir, problem);
  if (problem) return cannot_write(dir, problem);
  if (!holds) return std::set<fs::path>{};
  const auto lineup = edits::read_lineup(dir / kLineup);
  if (!lineup || !fs::is_regular_file(dir / kCuts, problem))
    return Error{ErrorKind::bad_command, dir, "it holds other files than an earlier result",
                 "name another folder: only an earlier result is replaced"};
  std::set<fs::path> files{kLineup, kCuts};
  const StemFiles stems = stem_files(*lineup);
  for (const fs::path& stem : stems.tracks) files.insert(fs::path("stems") / stem);
  if (stems.mix) files.insert(fs::path("stems") / *stems.mix);
  std::vector<std::string> track_names;
  for (const LineupTrack* track : tracks_with_stems(*lineup)) track_names.push_back(track->name);
  track_names = safe_file_names(track_names);
  const std::string name = safe_file_names({lineup->session}).front();
  for (const fs::path& list : edits::edit_files_in(dir / kEdits, name, track_names))
    files.insert(kEdits / list);
  return files;
}

/// Missing folders from the outermost down to `dir`.
std::vector<fs::path> missing_folders(const fs::path& dir) {
  std::vector<fs::path> missing;
  std::error_code problem;
  for (fs::path at = dir; !at.empty() && !fs::exists(at, problem) && at != at.parent_path();
       at = at.parent_path())
    missing.insert(missing.begin(), at);
  return missing;
}

/// Makes `wanted`, or the same with a number where that name is taken; empty on failure.
fs::path make_fresh(const fs::path& wanted, std::error_code& problem) {
  constexpr int kTries = 1000;
  for (int i = 1; i <= kTries; ++i) {
    fs::path name = i == 1 ? wanted : fs::path(wanted.string() + '-' + std::to_string(i));
    if (fs::create_directory(name, problem)) return name;
    if (problem && problem != std::errc::file_exists) return {};
  }
  problem = std::make_error_code(std::errc::file_exists);
  return {};
}

/// Renames and new folders, one after the other, that can be taken back.
class Moves {
 public:
  bool move(const fs::path& from, const fs::path& to, std::error_code& problem) {
    fs::rename(from, to, problem);
    if (!problem) done_.push_back({from, to});
    return !problem;
  }
  /// Makes a folder and those above it, as far as they are missing.
  bool make_folder(const fs::path& folder, std::error_code& problem) {
    for (const fs::path& missing : missing_folders(folder)) {
      if (!fs::create_directory(missing, problem)) return false;
      done_.push_back({{}, missing});
    }
    return true;
  }
  void take_back() {
    std::error_code ignored;
    for (auto step = done_.rbegin(); step != done_.rend(); ++step) {
      if (step->from.empty())
        fs::remove(step->to, ignored);
      else
        fs::rename(step->to, step->from, ignored);
    }
    done_.clear();
  }

 private:
  struct Step {
    fs::path from;  // empty for a folder that was made
    fs::path to;
  };
  std::vector<Step> done_;
};

/// Files below a folder, as paths relative to it.
std::set<fs::path> files_in(const fs::path& dir, std::error_code& problem) {
  std::set<fs::path> files;
  fs::recursive_directory_iterator entry(dir, problem);
  for (; !problem && entry != fs::recursive_directory_iterator(); entry.increment(problem))
    if (fs::symlink_status(entry->path(), problem).type() != fs::file_type::directory)
      files.insert(entry->path().lexically_relative(dir));
  return files;
}

/// Moves `files` as far as they are there. A folder under the name of a file stays.
bool move_all(const std::set<fs::path>& files, const fs::path& from, const fs::path& to,
              Moves& moves, std::error_code& problem) {
  return std::all_of(files.begin(), files.end(), [&](const fs::path& file) {
    std::error_code ignored;
    const fs::file_status status = fs::symlink_status(from / file, ignored);
    if (!fs::exists(status) || fs::is_directory(status)) return true;
    return moves.make_folder((to / file).parent_path(), problem) &&
           moves.move(from / file, to / file, problem);
  });
}

}  // namespace

Result<StagedFolder> StagedFolder::make(const fs::path& dir, bool replace) {
  std::error_code problem;
  StagedFolder folder;
  folder.dir_ = fs::weakly_canonical(fs::absolute(dir, problem), problem);
  if (problem) return cannot_write(dir, problem);
  if (!folder.dir_.has_filename()) folder.dir_ = folder.dir_.parent_path();
  folder.dir_existed_ = fs::exists(folder.dir_, problem);
  if (folder.dir_existed_) {
    if (auto error = refusal(folder.dir_, replace)) return *std::move(error);
    auto files = earlier_files(folder.dir_);
    if (!files) return files.error();
    folder.earlier_files_ = *std::move(files);
  }
  for (const fs::path& parent : missing_folders(folder.dir_.parent_path())) {
    if (!fs::create_directory(parent, problem)) return cannot_write(dir, problem);
    folder.made_parents_.push_back(parent);
  }
  const fs::path wanted = folder.dir_existed_ ? folder.dir_ / ".conform.part"
                                              : fs::path(folder.dir_.string() + ".part");
  folder.staging_ = make_fresh(wanted, problem);
  if (folder.staging_.empty()) return cannot_write(dir, problem);
  return folder;
}

StagedFolder::StagedFolder(StagedFolder&& other) noexcept
    : dir_(std::move(other.dir_)),
      staging_(std::exchange(other.staging_, {})),
      dir_existed_(other.dir_existed_),
      earlier_files_(std::move(other.earlier_files_)),
      made_parents_(std::exchange(other.made_parents_, {})) {}

StagedFolder::~StagedFolder() {
  std::error_code ignored;
  if (!staging_.empty()) fs::remove_all(staging_, ignored);
  // Innermost first; one that meanwhile holds something stays.
  for (auto parent = made_parents_.rbegin(); parent != made_parents_.rend(); ++parent)
    fs::remove(*parent, ignored);
}

Result<void> StagedFolder::commit() {
  if (dir_existed_) {
    if (auto moved = commit_into_existing(); !moved) return moved.error();
  } else {
    std::error_code problem;
    fs::rename(staging_, dir_, problem);
    if (problem) return cannot_write(dir_, problem);
  }
  staging_.clear();
  made_parents_.clear();
  return {};
}

Result<void> StagedFolder::commit_into_existing() {
  std::error_code problem;
  const std::set<fs::path> fresh = files_in(staging_, problem);
  if (problem) return cannot_write(dir_, problem);
  std::set<fs::path> stale = fresh;
  stale.insert(earlier_files_.begin(), earlier_files_.end());

  const fs::path aside = make_fresh(dir_ / ".earlier.part", problem);
  if (aside.empty()) return cannot_write(dir_, problem);
  Moves moves;
  const bool moved = move_all(stale, dir_, aside, moves, problem) &&
                     move_all(fresh, staging_, dir_, moves, problem);
  if (!moved) moves.take_back();
  std::error_code ignored;
  if (moved) {
    fs::remove_all(aside, ignored);
    fs::remove_all(staging_, ignored);
    for (const fs::path& file : stale)  // folders that hold nothing any more
      if (file.has_parent_path()) fs::remove(dir_ / file.parent_path(), ignored);
    return {};
  }
  fs::remove(aside, ignored);  // empty again; if it is not, what it holds is kept
  return cannot_write(dir_, problem);
}

}  // namespace kilter::conform
