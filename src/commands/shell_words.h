// Words as a shell takes them.
#pragma once

#include <string>
#include <string_view>

namespace kilter::commands {

/// Within single quotes: for POSIX shells, zsh, and fish too.
std::string in_quotes(std::string_view text);
/// In quotes only where it must be.
std::string shell_word(std::string_view word);

}  // namespace kilter::commands
