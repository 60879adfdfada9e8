#pragma once

#include <fcntl.h>
#include <sys/mman.h>

#include <array>
#include <atomic>
#include <cerrno>
#include <map>
#include <mutex>
#include <new>
#include <string>

#include "kilter/base/file_calls.h"
#include "support/reads_that_fail.h"

namespace kilter::test {

/// The system's calls; the k-th of those that read, or of those that write, fails, counted over
/// this process and all that it forks.
class SharedFaults : public FileCalls {
 public:
  enum class Of { reading, writing };

  SharedFaults(Of of, int failing_call, int code)
      : of_(of), failing_call_(failing_call), code_(code) {
    void* const page =
        ::mmap(nullptr, sizeof(Shared), PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    if (page == MAP_FAILED) throw std::bad_alloc();
    shared_ = new (page) Shared;
  }
  SharedFaults(const SharedFaults&) = delete;
  SharedFaults& operator=(const SharedFaults&) = delete;
  ~SharedFaults() override { ::munmap(shared_, sizeof(Shared)); }

  /// So far, of all processes.
  int calls() const { return shared_->calls.load(); }
  /// What failed: "open", "write".. ; "" where nothing has.
  std::string failed() const { return shared_->failed.data(); }

  int open(const char* path, int flags, mode_t mode) override {
    const bool reads = opens_to_read(flags);
    if ((reads || (flags & O_ACCMODE) != O_RDONLY) && fails(reads, "open")) return -1;
    const int descriptor = FileCalls::open(path, flags, mode);
    const std::lock_guard lock(mutex_);
    reads_[descriptor] = reads;
    return descriptor;
  }
  ssize_t read_at(int descriptor, void* bytes, std::size_t count, off_t offset) override {
    return fails(true, "read") ? -1 : FileCalls::read_at(descriptor, bytes, count, offset);
  }
  ssize_t write_at(int descriptor, const void* bytes, std::size_t count, off_t offset) override {
    return fails(false, "write") ? -1 : FileCalls::write_at(descriptor, bytes, count, offset);
  }
  int sync(int descriptor) override {
    return fails(false, "sync") ? -1 : FileCalls::sync(descriptor);
  }
  int close(int descriptor) override {
    bool reads = false;
    {
      const std::lock_guard lock(mutex_);
      reads = reads_[descriptor];
    }
    const int closed = FileCalls::close(descriptor);
    return !reads && fails(false, "close") ? -1 : closed;
  }
  int rename(const char* from, const char* to) override {
    return fails(false, "rename") ? -1 : FileCalls::rename(from, to);
  }

 private:
  struct Shared {
    std::atomic<int> calls{0};
    std::array<char, 16> failed{};
  };

  bool fails(bool reads, const std::string& call) {
    if (reads != (of_ == Of::reading) || ++shared_->calls != failing_call_) return false;
    call.copy(shared_->failed.data(), shared_->failed.size() - 1);
    errno = code_;
    return true;
  }

  Of of_;
  int failing_call_;
  int code_;
  Shared* shared_{nullptr};
  std::mutex mutex_;
  std::map<int, bool> reads_;  // by descriptor: opened to be read
};

}  // namespace kilter::test
