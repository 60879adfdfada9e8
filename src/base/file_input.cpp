#include "kilter/base/file_input.h"

#include <fcntl.h>
#include <sys/stat.h>

#include <algorithm>
#include <cerrno>
#include <utility>

namespace kilter {
namespace {

// So many that the system's call costs little beside the copying, and so few that a core's cache
// holds them.
constexpr std::size_t kAheadBytes = 65536;
constexpr std::size_t kNoSmallPiece = 32768;  // is read to where it is wanted

}  // namespace

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

std::int64_t FileInput::read_ahead_at(std::span<char> out, std::int64_t offset) {
  std::int64_t total = take_from_ahead(out, offset);
  const bool follows = offset == next_;
  out = out.subspan(static_cast<std::size_t>(total));
  if (!out.empty() && (!follows || out.size() >= kNoSmallPiece)) {
    total += read_at(out, offset + total);
  } else if (!out.empty()) {
    const std::int64_t behind = ahead_at_ + std::ssize(ahead_);
    if (ahead_problem_ == 0 || offset + total != behind) fill_ahead(offset + total);
    const std::int64_t more = take_from_ahead(out, offset + total);
    if (more < std::ssize(out) && problem_ == 0) problem_ = ahead_problem_;
    total += more;
  }
  next_ = offset + total;
  return total;
}

std::int64_t FileInput::take_from_ahead(std::span<char> out, std::int64_t offset) const {
  const std::int64_t from = offset - ahead_at_;
  if (from < 0 || from >= std::ssize(ahead_)) return 0;
  const std::int64_t count = std::min(std::ssize(out), std::ssize(ahead_) - from);
  std::copy_n(ahead_.begin() + from, count, out.begin());
  return count;
}

void FileInput::fill_ahead(std::int64_t offset) {
  const int earlier = take_problem();
  ahead_.resize(kAheadBytes);
  ahead_at_ = offset;
  ahead_.resize(static_cast<std::size_t>(read_at(ahead_, offset)));
  ahead_problem_ = std::exchange(problem_, earlier);
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
