#pragma once

#include <fcntl.h>

#include <algorithm>
#include <cerrno>
#include <mutex>

#include "kilter/base/file_calls.h"

namespace kilter::test {

inline bool opens_to_read(int flags) {
  return (flags & O_ACCMODE) == O_RDONLY && (flags & O_DIRECTORY) == 0;
}

/// The system's calls; of those that open files to read and that read, the k-th one fails, or all
/// from the k-th on do, as where a disk has one bad place or is pulled out.
class ReadsThatFail : public FileCalls {
 public:
  enum class Which { one, all_from_there_on };

  explicit ReadsThatFail(int failing_call, Which which = Which::one)
      : failing_call_(failing_call), which_(which) {}

  int open(const char* path, int flags, mode_t mode) override {
    if (opens_to_read(flags) && fails()) return -1;
    return FileCalls::open(path, flags, mode);
  }
  ssize_t read_at(int descriptor, void* bytes, std::size_t count, off_t offset) override {
    return fails() ? -1 : FileCalls::read_at(descriptor, bytes, count, offset);
  }

  /// So far.
  int calls() const { return calls_; }

 private:
  bool fails() {
    const std::lock_guard lock(mutex_);
    ++calls_;
    const bool failing = which_ == Which::one ? calls_ == failing_call_ : calls_ >= failing_call_;
    if (failing) errno = EIO;
    return failing;
  }

  int failing_call_;
  Which which_;
  std::mutex mutex_;
  int calls_{0};
};

/// Every other read is interrupted, and none gives more than 777 bytes.
class ShortReads : public FileCalls {
 public:
  int open(const char* path, int flags, mode_t mode) override {
    if (opens_to_read(flags) && interrupted()) return -1;
    return FileCalls::open(path, flags, mode);
  }
  ssize_t read_at(int descriptor, void* bytes, std::size_t count, off_t offset) override {
    if (interrupted()) return -1;
    return FileCalls::read_at(descriptor, bytes, std::min<std::size_t>(count, 777), offset);
  }

 private:
  bool interrupted() {
    const std::lock_guard lock(mutex_);
    errno = EINTR;
    return (++calls_ % 2) != 0;
  }

  std::mutex mutex_;
  int calls_{0};
};

}  // namespace kilter::test
