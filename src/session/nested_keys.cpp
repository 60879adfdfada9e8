#include "nested_keys.h"

#include <algorithm>
#include <string>

namespace kilter::session {
namespace {

// toml++ allows 256 values within each other, each with a key of so many parts: thousands of tables
// are taken down without harm, tens of thousands are not.
constexpr int kMostDots = 16;

/// Where the string ends that begins at `at` with its quotes.
std::size_t behind_string(std::string_view toml, std::size_t at) {
  const char quote = toml[at];
  const bool has_lines = toml.substr(at, 3) == std::string(3, quote);
  const std::string end(has_lines ? 3 : 1, quote);
  at += end.size();
  while (at < toml.size() && toml.substr(at, end.size()) != end)
    at += quote == '"' && toml[at] == '\\' ? 2 : 1;
  at = std::min(at + end.size(), toml.size());
  // Of five quotes the first two are still in it.
  for (int i = 0; has_lines && i < 2 && at < toml.size() && toml[at] == quote; ++i) ++at;
  return at;
}

}  // namespace

std::optional<std::size_t> line_of_nested_keys(std::string_view toml) {
  std::size_t line = 1;
  int dots = 0;
  for (std::size_t at = 0; at < toml.size();) {
    const char here = toml[at];
    if (here == '"' || here == '\'') {
      const std::size_t end = behind_string(toml, at);
      line += static_cast<std::size_t>(std::count(toml.begin() + static_cast<std::ptrdiff_t>(at),
                                                  toml.begin() + static_cast<std::ptrdiff_t>(end),
                                                  '\n'));
      at = end;
      continue;
    }
    if (here == '#') {
      at = std::min(toml.find('\n', at), toml.size());
      continue;
    }
    if (here == '.' && ++dots > kMostDots) return line;
    if (here == '\n') {
      ++line;
      dots = 0;
    }
    ++at;
  }
  return std::nullopt;
}

}  // namespace kilter::session
