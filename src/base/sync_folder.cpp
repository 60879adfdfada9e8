#include "kilter/base/sync_folder.h"

#include <fcntl.h>

#include <cerrno>

#include "kilter/base/file_calls.h"
#include "kilter/base/file_output.h"
#include "kilter/base/system_words.h"

namespace kilter {
namespace {

Error cannot_sync(const std::filesystem::path& folder, int code) {
  return {ErrorKind::cannot_write, folder,
          "what was written there may not last (" + system_words(code) + ")",
          "check the disk, or choose another folder"};
}

}  // namespace

Result<void> sync_folder(const std::filesystem::path& folder) {
  FileCalls& calls = file_calls();
  int descriptor = -1;
  do {
    descriptor =
        calls.open(folder.empty() ? "." : folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC, 0);
  } while (descriptor < 0 && errno == EINTR);
  if (descriptor < 0) {
    if (errno == EACCES || knows_no_sync(errno)) return {};
    return cannot_sync(folder, errno);
  }
  int synced = 0;
  do {
    synced = calls.sync(descriptor);
  } while (synced != 0 && errno == EINTR);
  const int problem = synced == 0 ? 0 : errno;
  calls.close(descriptor);
  if (problem != 0 && !knows_no_sync(problem)) return cannot_sync(folder, problem);
  return {};
}

}  // namespace kilter
