#include "kilter/base/file_output.h"

#include <fcntl.h>

#include <algorithm>
#include <cerrno>
#include <utility>

namespace kilter {
namespace {

constexpr std::size_t kGathered = 256 * 1024;
constexpr std::int64_t kToStart = std::int64_t{8} << 20U;  // bytes that are worth asking for

}  // namespace

bool knows_no_sync(int code) { return code == EINVAL || code == ENOTSUP || code == EOPNOTSUPP; }

FileOutput::FileOutput(std::filesystem::path name)
    : calls_(file_calls()), name_(std::move(name)), part_(name_.string() + ".part") {
  gathered_.reserve(kGathered);  // before anything is there that only the destructor takes away
  do {
    descriptor_ = calls_.open(part_.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
  } while (descriptor_ < 0 && errno == EINTR);
  made_ = is_open();
  if (!made_) problem_ = errno;
}

FileOutput::~FileOutput() {
  if (is_open()) calls_.close(descriptor_);
  if (made_) calls_.remove(part_.c_str());
}

bool FileOutput::fail(int code) {
  if (problem_ == 0) problem_ = code;
  return false;
}

bool FileOutput::write(std::span<const char> bytes) {
  if (problem_ != 0) return false;
  const bool in_a_row = position_ == gathered_from_ + std::ssize(gathered_);
  if (!in_a_row && !flush()) return false;
  while (!bytes.empty()) {
    if (gathered_.empty()) gathered_from_ = position_;
    const auto taken = bytes.first(std::min(bytes.size(), kGathered - gathered_.size()));
    gathered_.insert(gathered_.end(), taken.begin(), taken.end());
    position_ += std::ssize(taken);
    bytes = bytes.subspan(taken.size());
    if (gathered_.size() == kGathered && !flush()) return false;
  }
  length_ = std::max(length_, position_);
  return true;
}

bool FileOutput::flush() {
  std::span<const char> left(gathered_);
  std::int64_t offset = gathered_from_;
  while (!left.empty()) {
    const ssize_t count = calls_.write_at(descriptor_, left.data(), left.size(), offset);
    if (count < 0 && errno == EINTR) continue;
    if (count <= 0) return fail(count < 0 ? errno : ENOSPC);
    left = left.subspan(static_cast<std::size_t>(count));
    offset += count;
  }
  gathered_.clear();
  if (offset - started_ >= kToStart) start_writing(offset);
  return true;
}

void FileOutput::start_writing(std::int64_t end) {
  calls_.start_writing(descriptor_, started_, end - started_);
  started_ = end;
}

bool FileOutput::hand_over() {
  if (problem_ != 0 || !flush()) return false;
  gathered_ = std::vector<char>();
  if (length_ > kToStart && length_ > started_) start_writing(length_);
  return true;
}

bool FileOutput::complete() {
  if (!hand_over()) return false;
  int synced = 0;
  do {
    synced = calls_.sync(descriptor_);
  } while (synced != 0 && errno == EINTR);
  if (synced != 0 && !knows_no_sync(errno)) return fail(errno);
  // Interrupted, it is closed all the same, or in a state that nobody can tell.
  if (calls_.close(std::exchange(descriptor_, -1)) != 0 && errno != EINTR) return fail(errno);
  return true;
}

bool FileOutput::put_in_place() {
  if (problem_ != 0) return false;
  if (calls_.rename(part_.c_str(), name_.c_str()) != 0) return fail(errno);
  made_ = false;
  return true;
}

}  // namespace kilter
