#include "batch_log.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <string_view>
#include <thread>
#include <utility>

#include "kilter/base/file_calls.h"
#include "kilter/base/file_output.h"
#include "kilter/base/sync_folder.h"
#include "kilter/base/system_words.h"
#include "kilter/edits/text_file.h"
#include "kilter/session/names.h"

namespace kilter::commands {
namespace {

namespace fs = std::filesystem;

// A few kB for each session of the largest archives.
constexpr std::int64_t kMostLogBytes = std::int64_t{1} << 32;

std::string stem_of(BatchMode mode) {
  switch (mode) {
    case BatchMode::conform:
      return "batch";
    case BatchMode::align:
      return "batch.align";
    case BatchMode::check:
      return "batch.check";
  }
  return "batch";
}

Error cannot_write(const fs::path& file, int code) {
  return {ErrorKind::cannot_write, file, "cannot be written (" + system_words(code) + ')',
          "check the folder, your rights and the room on the disk"};
}

enum class Held { yes, busy, unknown };

Held hold(int descriptor, int how, std::chrono::steady_clock::time_point until) {
  using namespace std::chrono_literals;
  for (;;) {
    if (::flock(descriptor, how | LOCK_NB) == 0) return Held::yes;
    if (errno != EWOULDBLOCK && errno != EINTR) return Held::unknown;
    if (std::chrono::steady_clock::now() >= until) return Held::busy;
    std::this_thread::sleep_for(20ms);
  }
}

int opened(const fs::path& file, int flags) {
  int descriptor = -1;
  do {
    descriptor = file_calls().open(file.c_str(), flags | O_CREAT | O_CLOEXEC, 0666);
  } while (descriptor < 0 && errno == EINTR);
  return descriptor;
}

/// What follows the stem of a log's name: ".jsonl", or ".2-of-5.jsonl".
bool is_rest_of_name(std::string_view rest) {
  const auto take_number = [&] {
    const std::size_t digits = std::min(rest.find_first_not_of("0123456789"), rest.size());
    rest.remove_prefix(digits);
    return digits > 0;
  };
  const auto take = [&](std::string_view text) {
    if (!rest.starts_with(text)) return false;
    rest.remove_prefix(text.size());
    return true;
  };
  if (rest == ".jsonl") return true;
  return take(".") && take_number() && take("-of-") && take_number() && rest == ".jsonl";
}

/// Of each session the last record of a log's text: the order tells, whatever was done to the
/// clock meanwhile.
std::map<std::string, BatchRecord> last_records(std::string_view text) {
  std::map<std::string, BatchRecord> last;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    if (auto record = record_from_line(text.substr(0, end))) {
      std::string name = record->name;
      last[std::move(name)] = *std::move(record);
    }
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return last;
}

}  // namespace

std::string batch_log_name(BatchMode mode, const std::optional<BatchShare>& only) {
  const std::string part =
      only ? '.' + std::to_string(only->part) + "-of-" + std::to_string(only->parts) : "";
  return stem_of(mode) + part + ".jsonl";
}

std::vector<fs::path> batch_logs_in(const fs::path& dir, BatchMode mode) {
  const std::string stem = stem_of(mode);
  std::vector<fs::path> logs;
  std::error_code code;
  for (fs::directory_iterator entry(dir, code), end; !code && entry != end; entry.increment(code)) {
    const std::string name = entry->path().filename().string();
    if (name.starts_with(stem) && is_rest_of_name(name.substr(stem.size())))
      logs.push_back(entry->path());
  }
  std::sort(logs.begin(), logs.end());
  return logs;
}

Result<std::map<std::string, BatchRecord>> records_in(const fs::path& dir, BatchMode mode) {
  std::map<std::string, BatchRecord> latest;
  for (const fs::path& log : batch_logs_in(dir, mode)) {
    const auto text = edits::read_text(log, kMostLogBytes);
    if (!text) return text.error();
    for (auto&& [name, record] : last_records(*text)) {
      BatchRecord& known = latest[name];
      if (known.ended <= record.ended) known = std::move(record);
    }
  }
  return latest;
}

Result<BatchLog> BatchLog::open(const fs::path& dir, BatchMode mode,
                                const std::optional<BatchShare>& only,
                                std::chrono::milliseconds patience) {
  const auto until = std::chrono::steady_clock::now() + patience;
  std::error_code code;
  fs::create_directories(dir, code);
  if (code) return cannot_write(dir, code.value());
  BatchLog log(dir / batch_log_name(mode, only));
  // All parts share the folder; a part has its own file for itself.
  std::vector<std::pair<fs::path, int>> wanted{{dir / ".batch.lock", only ? LOCK_SH : LOCK_EX}};
  if (only) wanted.emplace_back(dir / ('.' + batch_log_name(mode, only) + ".lock"), LOCK_EX);
  for (const auto& [file, how] : wanted) {
    const int descriptor = opened(file, O_RDWR);
    if (descriptor < 0) return cannot_write(file, errno);
    log.locks_.push_back(descriptor);
    if (hold(descriptor, how, until) == Held::busy)
      return Error{ErrorKind::cannot_write, dir, "is being written by another batch",
                   "wait until it has ended, or name another folder"};
  }
  if (auto repaired = log.repair(); !repaired) return repaired.error();
  return log;
}

BatchLog::BatchLog(BatchLog&& other) noexcept
    : file_(std::move(other.file_)),
      descriptor_(std::exchange(other.descriptor_, -1)),
      end_(other.end_),
      locks_(std::exchange(other.locks_, {})) {}

BatchLog::~BatchLog() {
  if (descriptor_ >= 0) file_calls().close(descriptor_);
  for (const int lock : locks_) file_calls().close(lock);
}

Result<void> BatchLog::repair() {
  descriptor_ = opened(file_, O_RDWR);
  if (descriptor_ < 0) return cannot_write(file_, errno);
  const auto text = edits::read_text(file_, kMostLogBytes);
  if (!text) return text.error();
  const std::size_t whole = text->rfind('\n') == std::string::npos ? 0 : text->rfind('\n') + 1;
  end_ = static_cast<std::int64_t>(whole);
  if (whole < text->size()) {
    const auto torn = record_from_line(std::string_view(*text).substr(whole));
    if (::ftruncate(descriptor_, static_cast<off_t>(whole)) != 0) return cannot_write(file_, errno);
    if (torn)
      if (auto appended = append(*torn); !appended) return appended;
  }
  return sync_folder(file_.parent_path());
}

Result<void> BatchLog::append(const BatchRecord& record) {
  const std::string line = to_line(record);
  std::size_t written = 0;
  while (written < line.size()) {
    const ssize_t count =
        file_calls().write_at(descriptor_, line.data() + written, line.size() - written,
                              static_cast<off_t>(end_) + static_cast<off_t>(written));
    if (count < 0 && errno == EINTR) continue;
    if (count <= 0) {
      const int problem = count < 0 ? errno : ENOSPC;
      (void)!::ftruncate(descriptor_, static_cast<off_t>(end_));  // else the next run does it
      return cannot_write(file_, problem);
    }
    written += static_cast<std::size_t>(count);
  }
  while (file_calls().sync(descriptor_) != 0) {
    if (errno == EINTR) continue;
    if (knows_no_sync(errno)) break;
    return cannot_write(file_, errno);
  }
  end_ += static_cast<std::int64_t>(line.size());
  return {};
}

Result<void> BatchLog::settle() {
  const auto text = edits::read_text(file_, kMostLogBytes);
  if (!text) return text.error();
  std::vector<BatchRecord> records;
  for (auto&& [name, record] : last_records(*text)) records.push_back(std::move(record));
  std::sort(records.begin(), records.end(), [](const BatchRecord& a, const BatchRecord& b) {
    return session::comes_before(a.name, b.name);
  });
  std::string settled;
  for (const BatchRecord& record : records) settled += to_line(record);
  if (settled == *text) return {};
  return edits::write_text(file_, settled);
}

}  // namespace kilter::commands
