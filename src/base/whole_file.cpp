#include "kilter/base/whole_file.h"

#include <array>
#include <system_error>

#include "kilter/base/file_input.h"
#include "kilter/base/system_words.h"

namespace kilter {

Result<std::string> whole_file(const std::filesystem::path& file, std::int64_t most_bytes) {
  std::error_code problem;
  const auto status = std::filesystem::status(file, problem);
  if (!std::filesystem::exists(status))
    return Error{ErrorKind::unreadable, file, "there is no such file", "check its name and folder"};
  if (!std::filesystem::is_regular_file(status))
    return Error{ErrorKind::unreadable, file, "it is not an ordinary file", "name another"};
  FileInput input(file);
  std::string text;
  std::array<char, 65536> block;  // NOLINT: filled before it is read
  for (std::int64_t got = 1; input.is_open() && got > 0;) {
    if (std::ssize(text) > most_bytes)
      return Error{ErrorKind::unreadable, file, "it is too large for what it should be",
                   "name another"};
    got = input.read_at(block, std::ssize(text));
    text.append(block.data(), static_cast<std::size_t>(got));
  }
  if (input.problem() == 0) return text;
  return Error{ErrorKind::unreadable, file,
               "cannot be read (" + system_words(input.problem()) + ")",
               "check the disk, the file's name and your rights"};
}

}  // namespace kilter
