#include "remove_folder.h"

#include <system_error>
#include <vector>

namespace kilter::conform {

namespace fs = std::filesystem;

void remove_folder(const fs::path& folder) {
  std::error_code problem;
  std::vector<fs::path> folders;
  std::vector<fs::path> others;
  for (fs::directory_iterator entry(folder, problem), end; !problem && entry != end;
       entry.increment(problem)) {
    std::error_code unknown;
    (fs::is_directory(entry->symlink_status(unknown)) ? folders : others).push_back(entry->path());
  }
  for (const fs::path& other : others) fs::remove(other, problem);
  for (const fs::path& inner : folders) remove_folder(inner);
  fs::remove(folder, problem);
}

}  // namespace kilter::conform
