#include "scratch_file.h"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <string>
#include <utility>

#include "kilter/base/system_words.h"
#include "kilter/intake/intake.h"

namespace kilter::intake {
namespace {

/// What is wrong, and what helps against it.
struct Advice {
  const char* what;
  const char* next_step;
};

Advice advice_for(int code) {
  switch (code) {
    case ENOSPC:
    case EDQUOT:
    case EFBIG:
      return {"no room for temporary files",
              "set TMPDIR to a folder with more room (120 MB per track and hour)"};
    case EMFILE:
    case ENFILE:
      return {"too many open files for temporary ones",
              "raise the limit of open files (ulimit -n)"};
    case ENOENT:
    case ENOTDIR:
      return {"the folder for temporary files is missing",
              "set TMPDIR to a folder that is there, with room for 120 MB per track and hour"};
    case EACCES:
    case EPERM:
    case EROFS:
      return {"the folder for temporary files cannot be written to",
              "set TMPDIR to a folder that you may write to"};
    default:
      return {"a temporary file cannot be kept",
              "check the disk, or set TMPDIR to a folder on another one"};
  }
}

Error cannot_keep(const std::filesystem::path& folder, int code) {
  const Advice advice = advice_for(code);
  return {ErrorKind::cannot_write, folder, advice.what + (": " + system_words(code)),
          advice.next_step};
}

Error cannot_read_back(const std::filesystem::path& folder, int code) {
  return {ErrorKind::unreadable, folder,
          "a temporary file cannot be read back: " + system_words(code),
          "check the disk, or set TMPDIR to a folder on another one"};
}

/// Reads exactly `out`, which lies inside the file.
int read_fully(FileCalls& calls, int descriptor, std::span<std::byte> out, std::int64_t offset) {
  while (!out.empty()) {
    const ssize_t got =
        calls.read_at(descriptor, out.data(), out.size(), static_cast<off_t>(offset));
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return errno;
    if (got == 0) return EIO;
    out = out.subspan(static_cast<std::size_t>(got));
    offset += got;
  }
  return 0;
}

int write_fully(FileCalls& calls, int descriptor, std::span<const std::byte> bytes,
                std::int64_t offset) {
  while (!bytes.empty()) {
    const ssize_t put =
        calls.write_at(descriptor, bytes.data(), bytes.size(), static_cast<off_t>(offset));
    if (put < 0 && errno == EINTR) continue;
    if (put <= 0) return put < 0 ? errno : ENOSPC;
    bytes = bytes.subspan(static_cast<std::size_t>(put));
    offset += put;
  }
  return 0;
}

}  // namespace

Result<std::filesystem::path> scratch_folder(const std::filesystem::path& wanted) {
  if (!wanted.empty()) return wanted;
  std::error_code code;
  auto folder = std::filesystem::temp_directory_path(code);
  if (!code) return folder;
  return Error{ErrorKind::cannot_write,
               {},
               "the folder for temporary files cannot be used (" + code.message() + ")",
               "set TMPDIR to a folder that is there, with room for 120 MB per track and hour"};
}

Result<std::unique_ptr<ScratchFile>> ScratchFile::create(const std::filesystem::path& folder) {
  std::string name = (folder / "kilter-XXXXXX").string();
  const int descriptor = ::mkstemp(name.data());
  if (descriptor < 0) return cannot_keep(folder, errno);
  ::unlink(name.c_str());
  ::fcntl(descriptor, F_SETFD, FD_CLOEXEC);
  return std::unique_ptr<ScratchFile>(new ScratchFile(descriptor, folder));
}

ScratchFile::~ScratchFile() { ::close(descriptor_); }

Result<void> ScratchFile::write(std::int64_t at, std::span<const std::byte> bytes) {
  if (const int code = write_fully(calls_, descriptor_, bytes, at); code != 0)
    return cannot_keep(folder_, code);
  return {};
}

Result<void> ScratchFile::read(std::int64_t at, std::span<std::byte> out) const {
  if (const int code = read_fully(calls_, descriptor_, out, at); code != 0)
    return cannot_read_back(folder_, code);
  return {};
}

OpenByteStore scratch_stores(const std::filesystem::path& folder) {
  return [folder]() -> Result<std::unique_ptr<ByteStore>> {
    const auto where = scratch_folder(folder);
    if (!where) return where.error();
    auto file = ScratchFile::create(*where);
    if (!file) return file.error();
    return std::unique_ptr<ByteStore>(*std::move(file));
  };
}

}  // namespace kilter::intake
