#pragma once

#include <cstdint>
#include <filesystem>
#include <span>
#include <vector>

#include "kilter/base/file_calls.h"

namespace kilter {

/// The bytes of a file, read from wherever is asked. Not for use by two threads at a time.
class FileInput {
 public:
  /// Opens the file; is_open() tells whether that went well, and problem() why not.
  explicit FileInput(std::filesystem::path file);
  FileInput(const FileInput&) = delete;
  FileInput& operator=(const FileInput&) = delete;
  ~FileInput();

  bool is_open() const { return descriptor_ >= 0; }
  const std::filesystem::path& file() const { return file_; }
  /// In bytes, as it is now.
  std::int64_t length() const;

  /// As many bytes as `out` has room for: fewer only where the file ends, or cannot be read, which
  /// problem() tells. The number of those read.
  std::int64_t read_at(std::span<char> out, std::int64_t offset);
  /// The same, for one who reads in small pieces: where they follow upon each other, 64 kB are
  /// read, and kept, at a time. A place that cannot be read is told once it is asked for.
  std::int64_t read_ahead_at(std::span<char> out, std::int64_t offset);
  /// At least one byte, and none at the end of the file; -1 where it cannot be read.
  std::int64_t read_some_at(std::span<char> out, std::int64_t offset);

  /// The errno of the first call that failed since take_problem(); 0 where none did.
  int problem() const { return problem_; }
  /// Tells it, and forgets it.
  int take_problem();

 private:
  std::int64_t take_from_ahead(std::span<char> out, std::int64_t offset) const;
  void fill_ahead(std::int64_t offset);

  FileCalls& calls_;
  std::filesystem::path file_;
  int descriptor_{-1};
  int problem_{0};
  std::vector<char> ahead_;
  std::int64_t ahead_at_{0};
  int ahead_problem_{0};  // of the byte behind
  std::int64_t next_{0};  // where a reader in small pieces goes on
};

}  // namespace kilter
