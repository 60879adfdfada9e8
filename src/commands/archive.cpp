#include "archive.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>
#include <string_view>
#include <system_error>

#include "kilter/base/name_key.h"
#include "kilter/base/text_hash.h"
#include "kilter/conform/conform.h"
#include "kilter/edits/lineup_file.h"
#include "kilter/session/names.h"
#include "kilter/session/session.h"

namespace kilter::commands {
namespace {

namespace fs = std::filesystem;

/// Even bits of every letter.
std::uint64_t hash_of(std::string_view text) {
  std::uint64_t hash = text_hash(text);
  hash ^= hash >> 33U;
  hash *= 0xff51afd7ed558ccdU;
  return hash ^ (hash >> 33U);
}

bool is_hidden(const fs::path& path) { return path.filename().native().front() == '.'; }

/// What conform wrote, or was writing.
bool is_result(const fs::path& folder) {
  std::error_code code;
  if (fs::exists(folder / ".conform", code)) return true;
  return fs::is_regular_file(folder / "edits" / "cuts.tsv", code) &&
         fs::is_regular_file(folder / "lineup.json", code) &&
         edits::read_lineup(folder / "lineup.json");
}

bool holds_session_file(const std::vector<fs::directory_entry>& entries) {
  return std::any_of(entries.begin(), entries.end(), [](const fs::directory_entry& entry) {
    return session::lower(entry.path().filename().string()) == "session.toml";
  });
}

class Search {
 public:
  /// Both without links in them.
  Search(fs::path root, std::optional<fs::path> except)
      : root_(std::move(root)), except_(std::move(except)) {}

  void look_into(const fs::path& folder) {
    std::error_code code;
    std::vector<fs::directory_entry> entries;
    for (fs::directory_iterator entry(folder, code), end; !code && entry != end;
         entry.increment(code))
      if (!is_hidden(entry->path())) entries.push_back(*entry);
    if (code) {
      pass_over(folder, "cannot be read (" + code.message() + ')', true);
      return;
    }
    std::set<fs::path> own;
    if (take_session(folder, entries, own)) look_below(entries, own);
  }

  Archive found;

 private:
  /// Whether other sessions may lie below. `own`: folders that the session's files lie in.
  bool take_session(const fs::path& folder, const std::vector<fs::directory_entry>& entries,
                    std::set<fs::path>& own) {
    const bool is_told = holds_session_file(entries);
    const auto session = session::open_session({folder}, std::nullopt);
    // What cannot be read is a session that fails, and is told.
    const bool fails = !session && session.error().kind == ErrorKind::unreadable;
    if (is_told || fails || (session && session->files.size() > 1))
      found.sessions.push_back({name_of(folder), folder, {}});
    else if (session)
      pass_over(folder, "holds a single audio file, which makes no session", false);
    // What a broken session.toml means by its subfolders nobody knows.
    if (!session) return !is_told;
    for (const session::SessionFile& file : session->files) {
      own.insert(file.path.parent_path());
      for (const session::FilePart& part : file.later_parts) own.insert(part.path.parent_path());
    }
    return true;
  }

  void look_below(std::vector<fs::directory_entry>& entries, const std::set<fs::path>& own) {
    std::sort(entries.begin(), entries.end());
    for (const fs::directory_entry& entry : entries) {
      std::error_code code;
      if (!entry.is_directory(code)) continue;
      if (entry.is_symlink(code)) {
        pass_over(entry.path(), "is a link to a folder, which is not followed", false);
        continue;
      }
      // As it is: no link leads to it.
      const fs::path& real = entry.path();
      if ((except_ && real == *except_) || own.contains(real) || is_result(real)) continue;
      look_into(real);
    }
  }

  std::string name_of(const fs::path& folder) const {
    return folder == root_ ? "." : folder.lexically_relative(root_).generic_string();
  }

  void pass_over(const fs::path& folder, std::string why, bool is_failure) {
    found.passed_over.push_back({name_of(folder), std::move(why), is_failure});
  }

  fs::path root_;
  std::optional<fs::path> except_;
};

std::string safe_component(const std::string& name) {
  std::string safe = conform::safe_file_names({name}).front();
  // Which is what the neighbour's result is called while it is written.
  if (session::lower(safe).ends_with(".part")) safe += '_';
  return safe;
}

/// As the session's own path, but that of one inside another session stands beside it.
fs::path result_of(const std::string& name, const std::set<std::string>& sessions,
                   const std::string& archive_name) {
  if (name == ".") return safe_component(archive_name);
  fs::path result;
  std::string so_far;
  for (const fs::path& component : fs::path(name)) {
    if (!so_far.empty()) so_far += '/';
    so_far += component.string();
    const bool is_above = so_far != name && sessions.contains(so_far);
    result /= safe_component(component.string());
    if (is_above) result += ".below";
  }
  return result;
}

/// Results of two sessions that would lie in one place are told apart by their sessions' names.
void place_results(const std::string& archive_name, std::vector<ArchivedSession>& sessions) {
  std::set<std::string> names;
  for (const ArchivedSession& session : sessions) names.insert(session.name);
  std::map<std::u32string, int> count;
  for (ArchivedSession& session : sessions) {
    session.result = result_of(session.name, names, archive_name);
    ++count[name_key(session.result.generic_string())];
  }
  for (ArchivedSession& session : sessions) {
    if (count.at(name_key(session.result.generic_string())) < 2) continue;
    session.result += fmt::format("-{:08x}", hash_of(session.name) >> 32U);
  }
}

}  // namespace

Result<Archive> find_sessions(const fs::path& archive, const std::optional<fs::path>& except) {
  std::error_code code;
  fs::path root = fs::weakly_canonical(fs::absolute(archive, code), code);
  if (!root.has_filename() && root.has_relative_path()) root = root.parent_path();
  if (!fs::is_directory(root, code))
    return Error{ErrorKind::no_input, archive,
                 fs::exists(root, code) ? "is no folder" : "there is no such folder",
                 "name the folder that holds the sessions' folders"};
  std::optional<fs::path> skipped;
  if (except) skipped = fs::weakly_canonical(fs::absolute(*except, code), code);
  Search search(root, skipped);
  search.look_into(root);
  Archive found = std::move(search.found);
  if (!found.passed_over.empty() && found.passed_over.front().name == "." &&
      found.passed_over.front().is_failure)
    return Error{ErrorKind::no_input, archive, found.passed_over.front().why, "check your rights"};
  std::sort(found.sessions.begin(), found.sessions.end(),
            [](const ArchivedSession& a, const ArchivedSession& b) {
              return session::comes_before(a.name, b.name);
            });
  place_results(root.filename().string(), found.sessions);
  return found;
}

int part_of(const std::string& name, int parts) {
  return 1 + static_cast<int>(hash_of(name) % static_cast<std::uint64_t>(parts));
}

}  // namespace kilter::commands
