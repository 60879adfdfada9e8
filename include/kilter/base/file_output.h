#pragma once

#include <cstdint>
#include <filesystem>
#include <span>
#include <vector>

#include "kilter/base/file_calls.h"

namespace kilter {

/// The bytes of NAME while they are written: NAME.part, which put_in_place() makes NAME. Seeks
/// freely; gathers what is written in a row, so that small writes cost no system calls, and has the
/// disk begin while more comes: else it would stand idle until the end. After the first failure,
/// whose errno is problem(), every call fails.
class FileOutput {
 public:
  /// Makes NAME.part, empty; is_open() tells whether that went well.
  explicit FileOutput(std::filesystem::path name);
  FileOutput(const FileOutput&) = delete;
  FileOutput& operator=(const FileOutput&) = delete;
  /// Removes NAME.part unless it was put in place.
  ~FileOutput();

  bool is_open() const { return descriptor_ >= 0; }
  int problem() const { return problem_; }

  bool write(std::span<const char> bytes);
  void seek(std::int64_t offset) { position_ = offset; }
  std::int64_t position() const { return position_; }
  std::int64_t length() const { return length_; }

  /// Writes out what was gathered, has the disk begin with all of it where it is long, and frees
  /// the memory. More may come.
  bool hand_over();
  /// The same, waits until the disk holds it, and closes.
  bool complete();
  /// Renames, after complete().
  bool put_in_place();

 private:
  bool fail(int code);
  bool flush();
  void start_writing(std::int64_t end);

  FileCalls& calls_;
  std::filesystem::path name_;
  std::filesystem::path part_;
  bool made_{false};  // NAME.part is there, and ours
  int descriptor_{-1};
  int problem_{0};
  std::int64_t position_{0};
  std::int64_t length_{0};
  std::int64_t gathered_from_{0};  // where in the file the gathered bytes go
  std::vector<char> gathered_;
  std::int64_t started_{0};  // up to where the disk was asked to begin
};

/// What a file system says that cannot wait for its disk, which is no failure of the disk.
bool knows_no_sync(int code);

}  // namespace kilter
