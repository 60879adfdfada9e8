#include "kilter/edits/text_file.h"

#include <cerrno>
#include <cstdio>

#include "kilter/base/file_output.h"
#include "kilter/base/system_words.h"

namespace kilter::edits {
namespace {

Error cannot_write(const std::filesystem::path& file, int problem) {
  return {ErrorKind::cannot_write, file, "cannot be written (" + system_words(problem) + ")",
          "check the folder, your rights and the room on the disk"};
}

/// Into a pipe or a device, in whose place no file may come.
Result<void> write_through(const std::filesystem::path& file, const std::string& text) {
  std::FILE* const handle = std::fopen(file.c_str(), "wb");
  if (handle == nullptr) return cannot_write(file, errno);
  const bool written = std::fwrite(text.data(), 1, text.size(), handle) == text.size();
  const int problem = errno;
  if (std::fclose(handle) != 0) return cannot_write(file, errno);
  if (!written) return cannot_write(file, problem);
  return {};
}

}  // namespace

Result<void> write_text(const std::filesystem::path& file, const std::string& text) {
  std::error_code problem;
  const auto status = std::filesystem::status(file, problem);
  if (std::filesystem::is_directory(status)) return cannot_write(file, EISDIR);
  if (std::filesystem::exists(status) && !std::filesystem::is_regular_file(status))
    return write_through(file, text);
  // A link stays one, and what it leads to is replaced.
  const auto target = std::filesystem::is_symlink(std::filesystem::symlink_status(file, problem))
                          ? std::filesystem::weakly_canonical(file, problem)
                          : file;
  FileOutput output(problem ? file : target);
  if (output.is_open() && output.write(text) && output.complete() && output.put_in_place())
    return {};
  return cannot_write(file, output.problem());
}

Result<std::string> read_text(const std::filesystem::path& file, std::int64_t most_bytes) {
  return whole_file(file, most_bytes);
}

}  // namespace kilter::edits
