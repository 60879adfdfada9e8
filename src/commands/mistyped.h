// What somebody meant who typed something else.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "kilter/base/result.h"
#include "words.h"

namespace kilter::commands {

/// The one of `names` that is closest to what was typed: letters missing, added, wrong or swapped,
/// at most one in three; capitals and dashes at the front count for nothing, and the start of one
/// name alone is that name. Nothing where none is close, or two equally.
std::optional<std::string> nearest(std::string_view typed, const std::vector<std::string>& names);

/// "survey, align, conform or check"
std::string listed(const std::vector<std::string>& names);

/// The argument that begins like an option which the parser has taken apart.
std::string as_typed(const std::string& rest, std::span<const std::string> args);

Error unknown_command(const std::string& typed);
/// `command`: nothing before a command is named.
Error unknown_option_error(const std::string& typed, const CommandWords* command);

}  // namespace kilter::commands
