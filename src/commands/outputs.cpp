#include "outputs.h"

#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <string_view>
#include <system_error>

#include "kilter/base/file_input.h"
#include "kilter/base/system_words.h"
#include "kilter/conform/conform.h"

namespace kilter::commands {
namespace {

namespace fs = std::filesystem;

bool lies_in(const fs::path& path, const fs::path& folder) {
  const fs::path relative = path.lexically_relative(folder);
  return !relative.empty() && *relative.begin() != "..";
}

/// The nearest folder above `path` that is there.
fs::path existing_parent(const fs::path& path) {
  std::error_code code;
  fs::path parent = path.parent_path();
  while (!fs::exists(parent, code) && parent.has_relative_path()) parent = parent.parent_path();
  return parent;
}

}  // namespace

std::optional<Error> output_refusal(const fs::path& output, const session::Session& session) {
  std::error_code code;
  const fs::path resolved = fs::weakly_canonical(fs::absolute(output, code), code);
  // A list of files is no session folder: lining up what lies here is plain use.
  if (session.given_as_folder && lies_in(resolved, session.folder))
    return Error{ErrorKind::bad_command, output,
                 "lies in the session's folder, which is never written to",
                 "name another place, or run from another folder"};
  const fs::path parent = existing_parent(resolved);
  const int problem = !fs::is_directory(parent, code)       ? ENOTDIR
                      : ::access(parent.c_str(), W_OK) != 0 ? errno
                                                            : 0;
  if (problem == 0) return std::nullopt;
  return Error{ErrorKind::cannot_write, output,
               "cannot be written (" + std::generic_category().message(problem) + ")",
               "check its folder and your rights, or name another place"};
}

std::optional<Error> junit_refusal(const fs::path& junit, const session::Session& session) {
  if (auto refused = output_refusal(junit, session)) return refused;
  std::error_code code;
  if (!fs::is_regular_file(junit, code) || fs::file_size(junit, code) == 0) return std::nullopt;
  std::array<char, 256> head{};
  FileInput input(junit);
  const auto there = static_cast<std::size_t>(std::max<std::int64_t>(input.read_at(head, 0), 0));
  if (input.problem() != 0)
    return Error{ErrorKind::unreadable, junit,
                 "cannot be read (" + system_words(input.problem()) + ")",
                 "check that you may read it, or name another file with --junit"};
  if (std::string_view(head.data(), there).find("<testsuite name=\"kilter ") !=
      std::string_view::npos)
    return std::nullopt;
  return Error{ErrorKind::bad_command, junit, "is there already and is no test report of kilter's",
               "name another file with --junit, or move that one away"};
}

fs::path default_lineup_file(const session::Session& session) {
  return conform::safe_file_names({session.name}).front() + ".lineup.json";
}

}  // namespace kilter::commands
