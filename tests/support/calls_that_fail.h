#pragma once

#include <cerrno>
#include <iterator>
#include <mutex>
#include <set>
#include <string>
#include <vector>

#include "kilter/base/file_calls.h"
#include "support/reads_that_fail.h"

namespace kilter::test {

/// The system's calls that write, written down; the k-th of them fails. Reading and cleaning up
/// always work. Of any thread.
class CallsThatFail : public FileCalls {
 public:
  explicit CallsThatFail(int failing_call = 0, int code = EIO)
      : failing_call_(failing_call), code_(code) {}

  int open(const char* path, int flags, mode_t mode) override {
    const bool reads = opens_to_read(flags);
    if (!reads && fails("open")) return -1;
    const int descriptor = FileCalls::open(path, flags, mode);
    const std::lock_guard lock(mutex_);
    open_count += descriptor >= 0 ? 1 : 0;
    if (reads) read_.insert(descriptor);
    return descriptor;
  }
  ssize_t write_at(int descriptor, const void* bytes, std::size_t count, off_t offset) override {
    return fails("write") ? -1 : FileCalls::write_at(descriptor, bytes, count, offset);
  }
  int sync(int descriptor) override { return fails("sync") ? -1 : FileCalls::sync(descriptor); }
  int close(int descriptor) override {
    const bool failing = !forgets_reader(descriptor) && fails("close");
    const int closed = FileCalls::close(descriptor);
    if (failing) errno = code_;
    return failing ? -1 : closed;
  }
  int rename(const char* from, const char* to) override {
    return fails("rename") ? -1 : FileCalls::rename(from, to);
  }

  std::vector<std::string> calls;
  int open_count{0};

 private:
  bool forgets_reader(int descriptor) {
    const std::lock_guard lock(mutex_);
    --open_count;
    return read_.erase(descriptor) != 0;
  }
  bool fails(const char* call) {
    const std::lock_guard lock(mutex_);
    calls.emplace_back(call);
    if (std::ssize(calls) != failing_call_) return false;
    errno = code_;
    return true;
  }
  int failing_call_;
  int code_;
  std::mutex mutex_;
  std::set<int> read_;  // descriptors
};

}  // namespace kilter::test
