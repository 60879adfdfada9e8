#pragma once

#include <cstddef>
#include <optional>
#include <string_view>

namespace kilter::session {

/// The line, counted from 1, in which a TOML text has more dots outside of strings and comments
/// than any sensible key or number; nothing where none has. toml++ makes a table of each, and takes
/// them down by recursion: enough of them end the program.
std::optional<std::size_t> line_of_nested_keys(std::string_view toml);

}  // namespace kilter::session
