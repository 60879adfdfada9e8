#include "remove_folder.h"

#include <cerrno>
#include <system_error>
#include <vector>

#include "kilter/base/file_calls.h"

namespace kilter::conform {
namespace {

namespace fs = std::filesystem;

/// Keeps the first problem. One that is gone is none: some file systems take another file with one,
/// and another process may have been here.
void remove_entry(const fs::path& path, std::error_code& problem) {
  if (file_calls().remove(path.c_str()) != 0 && errno != ENOENT && !problem)
    problem.assign(errno, std::generic_category());
}

}  // namespace

void remove_folder(const fs::path& folder, const fs::path& last) {
  std::error_code problem = empty_folder(folder, last);
  if (problem) return;
  if (!last.empty()) remove_entry(folder / last, problem);
  remove_entry(folder, problem);
}

std::error_code empty_folder(const fs::path& folder, const fs::path& kept) {
  std::error_code problem;
  std::vector<fs::path> folders;
  std::vector<fs::path> others;
  for (fs::directory_iterator entry(folder, problem), end; !problem && entry != end;
       entry.increment(problem)) {
    if (!kept.empty() && entry->path().filename() == kept) continue;
    std::error_code unknown;
    (fs::is_directory(entry->symlink_status(unknown)) ? folders : others).push_back(entry->path());
  }
  for (const fs::path& other : others) remove_entry(other, problem);
  for (const fs::path& inner : folders) {
    const std::error_code within = empty_folder(inner, {});
    if (!problem) problem = within;
    remove_entry(inner, problem);
  }
  return problem;
}

}  // namespace kilter::conform
