// The file of a batch's records, its lock, and the records of all parts.
#pragma once

#include <chrono>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "batch_record.h"
#include "kilter/base/result.h"
#include "options.h"

namespace kilter::commands {

/// "batch.jsonl", "batch.check.2-of-5.jsonl"
std::string batch_log_name(BatchMode mode, const std::optional<BatchShare>& only);

/// Files with records of that mode in a folder, in order of their names.
std::vector<std::filesystem::path> batch_logs_in(const std::filesystem::path& dir, BatchMode mode);

/// Of each session its latest record, by the session's name, whoever wrote it. Lines that are no
/// records, as one that is just being written, are passed over.
Result<std::map<std::string, BatchRecord>> records_in(const std::filesystem::path& dir,
                                                      BatchMode mode);

/// One writer's file. While it is open no other batch writes to the same folder, but for other
/// parts (--only) of it.
class BatchLog {
 public:
  /// Makes the folder and the file where they are missing. A line that a killed process left
  /// unfinished is ended where it is a record, else removed. Fails with cannot_write, also where
  /// another process is still at work there after `patience`: what a killed batch was running ends
  /// shortly after it.
  static Result<BatchLog> open(
      const std::filesystem::path& dir, BatchMode mode, const std::optional<BatchShare>& only,
      std::chrono::milliseconds patience = std::chrono::milliseconds(5000));
  BatchLog(BatchLog&& other) noexcept;
  BatchLog& operator=(BatchLog&&) = delete;
  ~BatchLog();

  /// Returns when the disk holds it.
  Result<void> append(const BatchRecord& record);
  /// Each session once, by its latest record, in order for people: the file as an undisturbed run
  /// would have left it. Nothing may be appended behind this.
  Result<void> settle();

 private:
  explicit BatchLog(std::filesystem::path file) : file_(std::move(file)) {}
  Result<void> repair();

  std::filesystem::path file_;
  int descriptor_{-1};
  std::int64_t end_{0};
  std::vector<int> locks_;  // descriptors
};

}  // namespace kilter::commands
