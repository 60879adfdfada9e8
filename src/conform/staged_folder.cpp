#include "kilter/conform/staged_folder.h"

#include <algorithm>
#include <cerrno>
#include <fstream>
#include <optional>
#include <set>
#include <sstream>
#include <string>
#include <system_error>
#include <utility>
#include <vector>

#include "earlier_result.h"
#include "folder_lock.h"
#include "kilter/base/file_calls.h"
#include "kilter/base/file_output.h"
#include "kilter/base/sync_folder.h"
#include "kilter/base/whole_file.h"
#include "remove_folder.h"

namespace kilter::conform {
namespace {

namespace fs = std::filesystem;

// Inside an existing folder: what is being written, and the earlier result on its way out.
constexpr const char* kStaging = ".conform.part";
constexpr const char* kAside = ".earlier.part";
constexpr const char* kDone = ".replaced.part";
// In a staging folder, until it is complete: tells it from a folder of the user's of that name.
constexpr const char* kMark = ".conform";
// In kAside: the staging folder's name, then what is being moved in, a line each.
constexpr const char* kJournal = ".moving-in";

Error cannot_write(const fs::path& dir, const std::error_code& problem) {
  return {ErrorKind::cannot_write, dir, "cannot be written (" + problem.message() + ")",
          "check the path, your rights and the room on the disk, or choose another folder"};
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

/// With the path as the user knows it: below `named` what lies below `dir`.
Error as_named(Error error, const fs::path& dir, const fs::path& named) {
  const fs::path below = error.file.lexically_relative(dir);
  if (!below.empty()) error.file = below == "." ? named : named / below;
  return error;
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

/// A folder of our own, held as long as it is in use.
struct OwnFolder {
  fs::path path;
  FolderLock lock;
};

/// Whether a folder is a staging folder, or holds nothing that emptying it could lose.
bool may_be_emptied(const fs::path& folder) {
  std::error_code problem;
  return fs::exists(folder / kMark, problem) || fs::is_empty(folder, problem);
}

/// Makes `wanted`, or the same with a number where somebody works in that or it is not ours; what
/// is and nobody holds was left behind by a killed process, and is emptied. Nothing on failure.
std::optional<OwnFolder> make_own(const fs::path& wanted, std::error_code& problem) {
  constexpr int kTries = 1000;
  for (int i = 1; i <= kTries; ++i) {
    const fs::path name = i == 1 ? wanted : fs::path(wanted.string() + '-' + std::to_string(i));
    const bool is_new = fs::create_directory(name, problem);
    if (!is_new && problem && problem != std::errc::file_exists) return std::nullopt;
    FolderLock lock(name);
    if (lock.state() == FolderLock::State::busy ||
        (!is_new && (lock.state() != FolderLock::State::held || !may_be_emptied(name))))
      continue;
    for (const auto& entry : fs::directory_iterator(name, problem))
      fs::remove_all(entry.path(), problem);
    if (problem) {
      std::error_code ignored;
      if (is_new) fs::remove(name, ignored);
      return std::nullopt;
    }
    std::ofstream(name / kMark).flush();
    return OwnFolder{name, std::move(lock)};
  }
  problem = std::make_error_code(std::errc::file_exists);
  return std::nullopt;
}

bool renamed(const fs::path& from, const fs::path& to, std::error_code& problem) {
  problem.clear();
  if (file_calls().rename(from.c_str(), to.c_str()) != 0)
    problem.assign(errno, std::generic_category());
  return !problem;
}

/// Renames and new folders, one after the other, that can be taken back.
class Moves {
 public:
  bool move(const fs::path& from, const fs::path& to, std::error_code& problem) {
    if (renamed(from, to, problem)) done_.push_back({from, to});
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

/// Waits until the disk holds the names of these files below `dir`; what is in them it has held
/// since they got those names.
Result<void> sync_names(const fs::path& dir, const std::set<fs::path>& files) {
  std::set<fs::path> folders{dir};
  for (const fs::path& file : files) folders.insert((dir / file).parent_path());
  for (const fs::path& folder : folders)
    if (auto synced = sync_folder(folder); !synced) return synced;
  return {};
}

/// False, with the problem told, where the disk does not take it.
bool write_journal(const fs::path& aside, const fs::path& staging, const std::set<fs::path>& fresh,
                   std::error_code& problem) {
  std::string text = staging.filename().string() + '\n';
  for (const fs::path& file : fresh) text += file.string() + '\n';
  FileOutput journal(aside / kJournal);
  if (journal.is_open() && journal.write(text) && journal.complete() && journal.put_in_place())
    return true;
  problem.assign(journal.problem(), std::generic_category());
  return false;
}

/// The lineup tells a result: it goes first, or comes last.
bool move_lineup_and_all(std::set<fs::path> files, const fs::path& from, const fs::path& to,
                         bool lineup_first, Moves& moves, std::error_code& problem) {
  std::set<fs::path> lineup;
  if (files.erase(kLineup) > 0) lineup.insert(kLineup);
  const auto& first = lineup_first ? lineup : files;
  const auto& last = lineup_first ? files : lineup;
  return move_all(first, from, to, moves, problem) && move_all(last, from, to, moves, problem);
}

/// Whether a path from a file that anybody may have written leads nowhere else.
bool lies_within(const fs::path& file) {
  return file.is_relative() && std::find(file.begin(), file.end(), "..") == file.end();
}

/// Removes an earlier result that is out of the way, the journal last: until then it is known for
/// what it is, should this be interrupted.
void remove_earlier(const fs::path& aside) {
  std::error_code problem;
  for (fs::directory_iterator entry(aside, problem), end; !problem && entry != end;) {
    const fs::path path = entry->path();
    entry.increment(problem);
    std::error_code ignored;
    if (path.filename() != kJournal) fs::remove_all(path, ignored);
  }
  fs::remove_all(aside, problem);
}

/// Puts back what a process that was killed while it replaced a result in `dir` had moved aside.
/// Fails where it cannot be read what that was.
Result<void> take_back_interrupted(const fs::path& dir) {
  std::error_code ignored;
  if (fs::exists(dir / kDone / kJournal, ignored) &&
      FolderLock(dir / kDone).state() == FolderLock::State::held)
    remove_earlier(dir / kDone);
  const fs::path aside = dir / kAside;
  const FolderLock lock(aside);
  if (lock.state() != FolderLock::State::held) return {};
  std::istringstream journal;
  if (fs::exists(aside / kJournal, ignored)) {
    const auto text = whole_file(aside / kJournal);
    if (!text) return text.error();
    journal.str(*text);
  }
  std::string staging;
  std::getline(journal, staging);
  // What is no more in staging was moved in.
  for (std::string file; std::getline(journal, file);)
    if (lies_within(file) && !fs::exists(dir / staging / file, ignored))
      fs::remove(dir / file, ignored);
  fs::remove(aside / kJournal, ignored);
  fs::remove((aside / kJournal).string() + ".part", ignored);
  Moves moves;
  std::error_code problem;
  const std::set<fs::path> earlier = files_in(aside, problem);
  if (!problem && move_all(earlier, aside, dir, moves, problem)) fs::remove_all(aside, ignored);
  return {};
}

}  // namespace

struct StagedFolder::State {
  /// Why `fresh` files may not go into the existing dir, if so: one would take the place of a file
  /// that is none of the earlier result's.
  std::optional<Error> refusal_of(const std::set<fs::path>& fresh) const;
  Result<void> commit_into_existing(const std::set<fs::path>& fresh);

  fs::path dir;
  OwnFolder staging;
  bool dir_existed{false};
  EarlierResult earlier;
  std::vector<fs::path> made_parents;  // outermost first
};

Result<StagedFolder> StagedFolder::make(const fs::path& dir, const Replacing& replacing,
                                        const Watch& watch) {
  std::error_code problem;
  StagedFolder folder(std::make_unique<State>());
  State& state = *folder.state_;
  state.dir = fs::weakly_canonical(fs::absolute(dir, problem), problem);
  if (problem) return cannot_write(dir, problem);
  if (!state.dir.has_filename()) state.dir = state.dir.parent_path();
  state.dir_existed = fs::exists(state.dir, problem);
  if (state.dir_existed) {
    if (auto back = take_back_interrupted(state.dir); !back)
      return as_named(back.error(), state.dir, dir);
    if (auto error = refusal(state.dir, replacing.allowed))
      return as_named(*std::move(error), state.dir, dir);
    auto earlier = EarlierResult::find(state.dir, replacing.cuts_taken_over, watch);
    if (!earlier) return as_named(earlier.error(), state.dir, dir);
    state.earlier = *std::move(earlier);
  }
  for (const fs::path& parent : missing_folders(state.dir.parent_path())) {
    if (!fs::create_directory(parent, problem)) return cannot_write(dir, problem);
    state.made_parents.push_back(parent);
  }
  auto staging = make_own(
      state.dir_existed ? state.dir / kStaging : fs::path(state.dir.string() + ".part"), problem);
  if (!staging) return cannot_write(dir, problem);
  state.staging = *std::move(staging);
  return folder;
}

StagedFolder::StagedFolder(std::unique_ptr<State> state) : state_(std::move(state)) {}
StagedFolder::StagedFolder(StagedFolder&& other) noexcept = default;

StagedFolder::~StagedFolder() {
  if (!state_) return;
  std::error_code ignored;
  if (const fs::path& staging = state_->staging.path; !staging.empty()) {
    fs::remove_all(staging, ignored);
    if (fs::exists(staging,
                   ignored)) {  // no handle was left to look into it with, but for the lock's
      state_->staging.lock = {};
      remove_folder(staging);
    }
  }
  // Innermost first; one that meanwhile holds something stays.
  const auto& parents = state_->made_parents;
  for (auto parent = parents.rbegin(); parent != parents.rend(); ++parent)
    fs::remove(*parent, ignored);
}

const fs::path& StagedFolder::path() const { return state_->staging.path; }

Result<void> StagedFolder::commit() {
  std::error_code problem;
  std::set<fs::path> fresh = files_in(state_->staging.path, problem);
  fresh.erase(kMark);
  if (problem) return cannot_write(state_->dir, problem);
  if (auto synced = sync_names(state_->staging.path, fresh); !synced) return synced;
  if (state_->dir_existed) {
    if (auto error = state_->earlier.change()) return *std::move(error);
    if (auto error = state_->refusal_of(fresh)) return *std::move(error);
    if (auto moved = state_->commit_into_existing(fresh); !moved) return moved.error();
  } else {
    fs::remove(state_->staging.path / kMark, problem);
    if (!renamed(state_->staging.path, state_->dir, problem)) {
      if (fs::exists(state_->dir))
        return Error{ErrorKind::cannot_write, state_->dir,
                     "somebody else has put something there in the meantime",
                     "look at that, or name another folder"};
      return cannot_write(state_->dir, problem);
    }
    if (auto synced = sync_folder(state_->dir.parent_path()); !synced) {
      renamed(state_->dir, state_->staging.path, problem);
      return synced;
    }
  }
  state_->staging.path.clear();
  state_->made_parents.clear();
  return {};
}

std::optional<Error> StagedFolder::State::refusal_of(const std::set<fs::path>& fresh) const {
  std::error_code ignored;
  for (const fs::path& file : fresh) {
    for (fs::path folder = file.parent_path(); !folder.empty(); folder = folder.parent_path()) {
      const fs::file_status there = fs::symlink_status(dir / folder, ignored);
      if (fs::exists(there) && !fs::is_directory(there))
        return Error{ErrorKind::bad_command, dir / folder,
                     fs::is_symlink(there) ? "it is a link, and a folder of the result comes there"
                                           : "it is a file, and a folder of the result comes there",
                     "move it elsewhere, or name another folder"};
    }
    const fs::file_status there = fs::symlink_status(dir / file, ignored);
    if (fs::is_directory(there))
      return Error{ErrorKind::bad_command, dir / file,
                   "it is a folder, and a file of the result comes there",
                   "move it elsewhere, or name another folder"};
    if (fs::exists(there) && !earlier.has(file))
      return Error{ErrorKind::bad_command, dir / file,
                   "it is none of the earlier result's, and a new file would take its place",
                   "move it elsewhere, or name another folder"};
  }
  return std::nullopt;
}

Result<void> StagedFolder::State::commit_into_existing(const std::set<fs::path>& fresh) {
  std::error_code problem;
  // Whatever a fresh file replaces is among these, be it under another spelling.
  const std::set<fs::path>& stale = earlier.files();
  const fs::path aside = dir / kAside;
  if (!fs::create_directory(aside, problem))
    return Error{ErrorKind::cannot_write, dir, "somebody else is replacing the same result",
                 "wait for that to end, or name another folder"};
  const FolderLock lock(aside);
  Moves moves;
  const bool moved = write_journal(aside, staging.path, fresh, problem) &&
                     move_lineup_and_all(stale, dir, aside, true, moves, problem) &&
                     move_lineup_and_all(fresh, staging.path, dir, false, moves, problem);
  std::error_code ignored;
  const auto synced = moved ? sync_names(dir, fresh) : Result<void>();
  if (!moved || !synced) {
    moves.take_back();
    fs::remove(aside / kJournal, ignored);
    fs::remove(aside, ignored);  // empty again; if it is not, what it holds is kept
    return synced ? cannot_write(dir, problem) : synced.error();
  }
  // From here on the new result stays, whatever happens.
  std::error_code in_the_way;
  fs::rename(aside, dir / kDone, in_the_way);
  remove_earlier(in_the_way ? aside : dir / kDone);
  fs::remove_all(staging.path, ignored);
  for (const fs::path& file : stale)  // folders that hold nothing any more
    if (file.has_parent_path()) fs::remove(dir / file.parent_path(), ignored);
  return {};
}

}  // namespace kilter::conform
