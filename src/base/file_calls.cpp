#include "kilter/base/file_calls.h"

#include <fcntl.h>
#include <unistd.h>

#include <atomic>
#include <cstdio>

namespace kilter {
namespace {

std::atomic<FileCalls*>& replacement() {
  static std::atomic<FileCalls*> calls{nullptr};
  return calls;
}

}  // namespace

static_assert(sizeof(off_t) >= 8, "files grow beyond 4 GiB");

int FileCalls::open(const char* path, int flags, mode_t mode) {
  return ::open(path, flags, mode);  // NOLINT: variadic by POSIX
}

ssize_t FileCalls::read_at(int descriptor, void* bytes, std::size_t count, off_t offset) {
  return ::pread(descriptor, bytes, count, offset);
}

ssize_t FileCalls::write_at(int descriptor, const void* bytes, std::size_t count, off_t offset) {
  return ::pwrite(descriptor, bytes, count, offset);
}

void FileCalls::start_writing([[maybe_unused]] int descriptor, [[maybe_unused]] off_t offset,
                              [[maybe_unused]] off_t count) {
#ifdef SYNC_FILE_RANGE_WRITE
  ::sync_file_range(descriptor, offset, count, SYNC_FILE_RANGE_WRITE);
#endif
}

int FileCalls::sync(int descriptor) {
#ifdef F_FULLFSYNC  // there fsync() stops at the drive's own memory
  if (::fcntl(descriptor, F_FULLFSYNC) == 0) return 0;
#endif
  return ::fsync(descriptor);
}

int FileCalls::close(int descriptor) { return ::close(descriptor); }
int FileCalls::rename(const char* from, const char* to) { return std::rename(from, to); }
int FileCalls::remove(const char* path) { return std::remove(path); }

FileCalls& file_calls() {
  static FileCalls system;
  FileCalls* calls = replacement().load();
  return calls == nullptr ? system : *calls;
}

void replace_file_calls(FileCalls* calls) { replacement().store(calls); }

}  // namespace kilter
