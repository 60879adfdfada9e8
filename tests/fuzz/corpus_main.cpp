// Runs a fuzz target over files, without libFuzzer: a corpus is a test everywhere.
//   fuzz_TARGET FILE|FOLDER...
// Exit 1 where there is no file; a promise that is not held ends the program as a crash does, and
// the last line names the file.
#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <string>
#include <vector>

#include "fuzz.h"
#include "support/temporary_folder.h"

namespace {

namespace fs = std::filesystem;

std::vector<fs::path> files_of(const std::vector<fs::path>& arguments) {
  std::vector<fs::path> files;
  for (const fs::path& each : arguments) {
    if (!fs::is_directory(each)) {
      files.push_back(each);
      continue;
    }
    for (const fs::directory_entry& entry : fs::recursive_directory_iterator(each))
      if (entry.is_regular_file()) files.push_back(entry.path());
  }
  std::sort(files.begin(), files.end());
  return files;
}

}  // namespace

int main(int argc, char** argv) {
  const std::vector<fs::path> files = files_of({argv + 1, argv + argc});
  for (const fs::path& file : files) {
    // Before it is tried: a crash comes without a further word.
    std::printf("%s\n", file.filename().c_str());
    std::fflush(stdout);
    const std::string bytes = kilter::test::read_text(file);
    LLVMFuzzerTestOneInput(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size());
  }
  std::printf("%zu inputs\n", files.size());
  return files.empty() ? 1 : 0;
}
