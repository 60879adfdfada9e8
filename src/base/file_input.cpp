#include "kilter/base/file_input.h"

#include <fcntl.h>
#include <sys/stat.h>

#include <cerrno>
#include <utility>

namespace kilter {

FileInput::FileInput(std::filesystem::path file) : calls_(file_calls()), file_(std::move(file)) {
  do {
    descriptor_ = calls_.open(file_.c_str(), O_RDONLY | O_CLOEXEC, 0);
  } while (descriptor_ < 0 && errno == EINTR);
  if (!is_open()) problem_ = errno;
}

FileInput::~FileInput() {
  if (is_open()) calls_.close(descriptor_);
}

std::int64_t FileInput::length() const {
  struct stat status {};
  return ::fstat(descriptor_, &status) == 0 ? status.st_size : 0;
}

std::int64_t FileInput::read_at(std::span<char> out, std::int64_t offset) {
  std::int64_t total = 0;
  while (!out.empty()) {
    const std::int64_t got = read_some_at(out, offset + total);
    if (got <= 0) break;
    total += got;
    out = out.subspan(static_cast<std::size_t>(got));
  }
  return total;
}

std::int64_t FileInput::read_some_at(std::span<char> out, std::int64_t offset) {
  ssize_t got = 0;
  do {
    got = calls_.read_at(descriptor_, out.data(), out.size(), static_cast<off_t>(offset));
  } while (got < 0 && errno == EINTR);
  if (got >= 0) return got;
  const int code = errno;
  if (offset >= length()) return 0;  // so far that the system takes it for a mistake
  if (problem_ == 0) problem_ = code;
  return -1;
}

int FileInput::take_problem() { return std::exchange(problem_, 0); }

}  // namespace kilter
