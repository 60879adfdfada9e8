#include "kilter/conform/staged_folder.h"

#include <fcntl.h>

#include <algorithm>
#include <cerrno>
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
// In a staging folder as long as it stands, its name without a number in it: tells it from a folder
// of the user's, and from a result of that name.
constexpr const char* kMark = ".conform";
// In kAside, what is being moved in, a line each. Its name tells how far that is: the earlier
// result goes out; the new one comes in; the new one stays.
constexpr const char* kGoingOut = ".going-out";
constexpr const char* kComingIn = ".coming-in";
constexpr const char* kInPlace = ".in-place";

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

/// Next to a `dir` that is still missing.
fs::path staging_beside(const fs::path& dir) { return dir.string() + ".part"; }

std::string mark_text(const fs::path& wanted) { return wanted.filename().string() + '\n'; }

/// Whether a folder was made as a staging folder, under the name `wanted` or that with a number.
bool is_marked(const fs::path& folder, const fs::path& wanted) {
  std::error_code problem;
  const fs::path mark = folder / kMark;
  if (!fs::is_regular_file(fs::symlink_status(mark, problem))) return false;
  const auto text = whole_file(mark);
  return text && *text == mark_text(wanted);
}

/// Whether a folder holds nothing at all, or a mark that was not even written.
bool is_as_new(const fs::path& folder) {
  std::error_code problem;
  for (fs::directory_iterator entry(folder, problem), end; !problem && entry != end;
       entry.increment(problem)) {
    std::error_code unknown;
    if (entry->path().filename() != kMark || !fs::is_regular_file(entry->symlink_status(unknown)) ||
        entry->file_size(unknown) != 0)
      return false;
  }
  return !problem;
}

/// A folder that is made, and removed where it comes to nothing: with no memory and no handle.
class JustMade {
 public:
  explicit JustMade(fs::path folder) : folder_(std::move(folder)), mark_(folder_ / kMark) {}
  JustMade(const JustMade&) = delete;
  JustMade& operator=(const JustMade&) = delete;
  ~JustMade() {
    if (!is_there_) return;
    file_calls().remove(mark_.c_str());
    file_calls().remove(folder_.c_str());
  }

  /// False, with the problem told, where the disk does not take it.
  bool write_mark(const std::string& text, std::error_code& problem) const {
    FileCalls& calls = file_calls();
    const int file =
        calls.open(mark_.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_NOFOLLOW | O_CLOEXEC, 0666);
    const bool written = file >= 0 && calls.write_at(file, text.data(), text.size(), 0) ==
                                          static_cast<ssize_t>(text.size());
    if (!written) problem.assign(errno, std::generic_category());
    if (file >= 0) calls.close(file);
    return written;
  }
  void make(std::error_code& problem) { is_there_ = fs::create_directory(folder_, problem); }
  bool is_there() const { return is_there_; }
  void keep() { is_there_ = false; }

 private:
  fs::path folder_;
  fs::path mark_;
  bool is_there_{false};
};

/// Whether a name is `wanted`, or that with a number.
bool is_numbered(const std::string& name, const std::string& wanted) {
  if (!name.starts_with(wanted)) return false;
  const std::string rest = name.substr(wanted.size());
  return rest.empty() || (rest.size() > 1 && rest[0] == '-' &&
                          rest.find_first_not_of("0123456789", 1) == std::string::npos);
}

/// Removes the staging folders of that name that killed processes left behind.
void remove_left(const fs::path& wanted) {
  std::error_code problem;
  std::vector<fs::path> left;
  for (fs::directory_iterator entry(wanted.parent_path(), problem), end; !problem && entry != end;
       entry.increment(problem)) {
    std::error_code unknown;
    if (is_numbered(entry->path().filename().string(), wanted.filename().string()) &&
        fs::is_directory(entry->symlink_status(unknown)))
      left.push_back(entry->path());
  }
  for (const fs::path& folder : left) {
    const FolderLock lock(folder);
    if (lock.state() == FolderLock::State::held && (is_marked(folder, wanted) || is_as_new(folder)))
      remove_folder(folder, kMark);
  }
}

/// Makes `wanted`, or the same with a number where somebody works in that or it is not ours.
/// Nothing on failure.
std::optional<OwnFolder> make_own(const fs::path& wanted, std::error_code& problem) {
  constexpr int kTries = 1000;
  const std::string text = mark_text(wanted);
  for (int i = 1; i <= kTries; ++i) {
    fs::path name = i == 1 ? wanted : fs::path(wanted.string() + '-' + std::to_string(i));
    JustMade made(name);
    made.make(problem);
    const bool is_new = made.is_there();
    if (!is_new && problem && problem != std::errc::file_exists) return std::nullopt;
    FolderLock lock(name);
    if (lock.state() == FolderLock::State::busy ||
        (!is_new && (lock.state() != FolderLock::State::held ||
                     !(is_marked(name, wanted) || is_as_new(name))))) {
      made.keep();
      continue;
    }
    if (!is_new) problem = empty_folder(name, kMark);
    if (!problem && made.write_mark(text, problem)) {
      made.keep();
      return OwnFolder{std::move(name), std::move(lock)};
    }
    // Another process took it for one that was left, before it was locked.
    if (problem != std::errc::no_such_file_or_directory) return std::nullopt;
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
  /// False where a step cannot be taken back: then none before it is.
  bool take_back() {
    for (; !done_.empty(); done_.pop_back()) {
      std::error_code problem;
      if (done_.back().from.empty())
        fs::remove(done_.back().to, problem);  // what meanwhile lies there keeps it
      else if (!renamed(done_.back().to, done_.back().from, problem))
        return false;
    }
    return true;
  }

 private:
  struct Step {
    fs::path from;  // empty for a folder that was made
    fs::path to;
  };
  std::vector<Step> done_;
};

/// What lies under a name, links not followed. The problem is told where that cannot be seen.
fs::file_type type_of(const fs::path& path, std::error_code& problem) {
  const fs::file_type type = fs::symlink_status(path, problem).type();
  if (type == fs::file_type::not_found) problem.clear();
  return type;
}

/// Files below a folder, as paths relative to it.
std::set<fs::path> files_in(const fs::path& dir, std::error_code& problem) {
  std::set<fs::path> files;
  fs::recursive_directory_iterator entry(dir, problem);
  while (!problem && entry != fs::recursive_directory_iterator()) {
    const fs::file_type type = type_of(entry->path(), problem);
    if (problem) break;
    if (type != fs::file_type::directory) files.insert(entry->path().lexically_relative(dir));
    entry.increment(problem);
  }
  return files;
}

/// Moves `files` as far as they are there. A folder under the name of a file stays.
bool move_all(const std::set<fs::path>& files, const fs::path& from, const fs::path& to,
              Moves& moves, std::error_code& problem) {
  return std::all_of(files.begin(), files.end(), [&](const fs::path& file) {
    const fs::file_type type = type_of(from / file, problem);
    if (problem) return false;
    if (type == fs::file_type::not_found || type == fs::file_type::directory) return true;
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
bool write_journal(const fs::path& aside, const std::set<fs::path>& fresh,
                   std::error_code& problem) {
  std::string text;
  for (const fs::path& file : fresh) text += file.string() + '\n';
  FileOutput journal(aside / kGoingOut);
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

/// Removes the mark of a staging folder that has become `dir` itself.
void remove_mark(const fs::path& dir) {
  if (is_marked(dir, staging_beside(dir))) file_calls().remove((dir / kMark).c_str());
}

Error cannot_tell(const fs::path& aside, const std::error_code& problem) {
  return {ErrorKind::unreadable, aside,
          "what an interrupted run left there cannot be read (" + problem.message() + ")",
          "check the disk and your rights, or choose another folder"};
}

/// Takes out of `dir` what a process that was killed had moved in, as its journal in `aside` says:
/// all that had lain there under such names is in `aside` by then. The lineup goes first, and
/// nothing where that has to stay.
Result<void> take_out(const fs::path& dir, const fs::path& aside) {
  const auto text = whole_file(aside / kComingIn);
  if (!text) return text.error();
  std::vector<fs::path> files;
  std::istringstream journal(*text);
  for (std::string file; std::getline(journal, file);)
    if (lies_within(file)) files.emplace_back(file);
  std::stable_partition(files.begin(), files.end(),
                        [](const fs::path& file) { return file == kLineup; });
  std::error_code problem;
  for (const fs::path& file : files)
    if (file_calls().remove((dir / file).c_str()) != 0 && errno != ENOENT && errno != ENOTDIR) {
      problem.assign(errno, std::generic_category());
      return cannot_write(dir / file, problem);
    }
  for (const fs::path& file : files)  // the folders made for them, where nothing else is there
    for (fs::path folder = file.parent_path(); !folder.empty(); folder = folder.parent_path())
      if (type_of(dir / folder, problem) == fs::file_type::directory)
        fs::remove(dir / folder, problem);
  if (!renamed(aside / kComingIn, aside / kGoingOut, problem)) return cannot_write(dir, problem);
  return {};
}

/// Puts back what a process that was killed while it replaced a result in `dir` had moved aside, or
/// removes that where the new result was in place. Fails where it cannot be told which, and where
/// what lies there is not ours.
Result<void> take_back_interrupted(const fs::path& dir) {
  const fs::path aside = dir / kAside;
  std::error_code problem;
  const fs::file_type type = type_of(aside, problem);
  if (problem) return cannot_tell(aside, problem);
  if (type == fs::file_type::not_found) return {};
  const Error not_ours{ErrorKind::bad_command, aside,
                       "it lies where an earlier result goes while it is replaced, and is none",
                       "move it elsewhere, or name another folder"};
  if (type != fs::file_type::directory) return not_ours;
  const FolderLock lock(aside);
  if (lock.state() == FolderLock::State::busy) return {};
  if (lock.state() == FolderLock::State::unknown)
    return Error{ErrorKind::cannot_write, aside,
                 "another run replaces the result, or was interrupted amid that: this disk does "
                 "not tell which",
                 "if no other runs, move the files in it back where they were, and remove it"};
  const bool stays = fs::exists(aside / kInPlace, problem);
  if (problem) return cannot_tell(aside, problem);
  if (stays) {
    remove_folder(aside, kInPlace);
    return {};
  }
  const bool was_coming_in = fs::exists(aside / kComingIn, problem);
  if (problem) return cannot_tell(aside, problem);
  if (was_coming_in)
    if (auto out = take_out(dir, aside); !out) return out;
  std::set<fs::path> earlier = files_in(aside, problem);
  if (problem) return cannot_tell(aside, problem);
  // What was to become the journal means nothing was moved.
  earlier.erase(std::string(kGoingOut) + ".part");
  if (earlier.erase(kGoingOut) == 0 && !earlier.empty()) return not_ours;
  Moves moves;
  if (!move_lineup_and_all(std::move(earlier), aside, dir, false, moves, problem))
    return cannot_write(dir, problem);
  remove_folder(aside, kGoingOut);
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
  remove_left(staging_beside(state.dir));
  if (state.dir_existed) {
    if (auto back = take_back_interrupted(state.dir); !back)
      return as_named(back.error(), state.dir, dir);
    remove_left(state.dir / kStaging);
    remove_mark(state.dir);
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
  auto staging =
      make_own(state.dir_existed ? state.dir / kStaging : staging_beside(state.dir), problem);
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
    remove_folder(staging, kMark);
    if (fs::exists(staging, ignored)) {
      // No handle was left to look into it with, but for the lock's.
      state_->staging.lock = {};
      remove_folder(staging, kMark);
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
    if (auto moved = state_->commit_into_existing(fresh); !moved) return moved.error();
  } else {
    // With its mark: without, what a process killed here leaves would be nobody's.
    const fs::path mark = state_->dir / kMark;
    if (!renamed(state_->staging.path, state_->dir, problem)) {
      if (fs::exists(state_->dir))
        return Error{ErrorKind::cannot_write, state_->dir,
                     "somebody else has put something there in the meantime",
                     "look at that, or name another folder"};
      return cannot_write(state_->dir, problem);
    }
    file_calls().remove(mark.c_str());
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
  const Error busy{ErrorKind::cannot_write, dir, "somebody else is replacing the same result",
                   "wait for that to end, or name another folder"};
  if (!fs::create_directory(aside, problem)) return problem ? cannot_write(dir, problem) : busy;
  const FolderLock lock(aside);
  // Gone where another process took it for one that was left, before it was locked.
  if (lock.state() == FolderLock::State::busy || !fs::exists(aside, problem)) return busy;
  std::error_code ignored;
  // Now that nobody else replaces anything here.
  auto refused = earlier.change();
  if (!refused) refused = refusal_of(fresh);
  if (refused) {
    fs::remove(aside, ignored);
    return *std::move(refused);
  }
  Moves moves;
  const bool moved = write_journal(aside, fresh, problem) &&
                     move_lineup_and_all(stale, dir, aside, true, moves, problem) &&
                     moves.move(aside / kGoingOut, aside / kComingIn, problem) &&
                     move_lineup_and_all(fresh, staging.path, dir, false, moves, problem);
  const auto synced = moved ? sync_names(dir, fresh) : Result<void>();
  if (!moved || !synced || !moves.move(aside / kComingIn, aside / kInPlace, problem)) {
    // What cannot be taken back here, the next run tries by the journal.
    if (moves.take_back()) remove_folder(aside, kGoingOut);
    return synced ? cannot_write(dir, problem) : synced.error();
  }
  // From here on the new result stays, whatever happens.
  remove_folder(aside, kInPlace);
  remove_folder(staging.path, kMark);
  for (const fs::path& file : stale)  // folders that hold nothing any more
    if (file.has_parent_path()) fs::remove(dir / file.parent_path(), ignored);
  return {};
}

}  // namespace kilter::conform
