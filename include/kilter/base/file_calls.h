// The system calls that files need, in one place, so that each can be made to fail.
#pragma once

#include <sys/types.h>

#include <cstddef>

namespace kilter {

/// Each as POSIX has it: -1, with errno set, is failure. Safe from any thread.
class FileCalls {
 public:
  FileCalls() = default;
  FileCalls(const FileCalls&) = delete;
  FileCalls& operator=(const FileCalls&) = delete;
  virtual ~FileCalls() = default;

  virtual int open(const char* path, int flags, mode_t mode);
  virtual ssize_t read_at(int descriptor, void* bytes, std::size_t count, off_t offset);
  virtual ssize_t write_at(int descriptor, const void* bytes, std::size_t count, off_t offset);
  /// Asks for bytes just written to go to the disk soon. Not every system can be asked; none fails.
  virtual void start_writing(int descriptor, off_t offset, off_t count);
  /// Returns when the disk itself holds the file: fsync(), or more where that does less.
  virtual int sync(int descriptor);
  virtual int close(int descriptor);
  virtual int rename(const char* from, const char* to);
  /// A file, or an empty folder.
  virtual int remove(const char* path);
};

/// Those that files opened from now on use: the system's own, unless replaced.
FileCalls& file_calls();
/// For tests. nullptr: the system's own again. The caller keeps `calls` while files use it.
void replace_file_calls(FileCalls* calls);

}  // namespace kilter
