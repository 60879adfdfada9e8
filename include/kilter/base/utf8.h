// Text in UTF-8, and what only claims to be: file names come from strangers.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace kilter {

struct Utf8Letter {
  char32_t code{0xFFFD};
  std::size_t bytes{1};
  bool valid{false};
};

/// The letter at the start of `text`, which holds at least one byte; one broken byte where it is
/// not UTF-8 as RFC 3629 has it: no longer form than needed, no surrogates, nothing beyond
/// U+10FFFF.
Utf8Letter first_letter(std::string_view text);

/// C0 and C1 controls, and what parts lines or turns the direction of writing: letters that steer
/// what shows them.
bool is_control(char32_t code);
/// JSON in which no string holds a control: they stand there as \uXXXX, which says the same.
std::string with_controls_escaped(std::string_view json);

bool is_utf8(std::string_view text);
/// With U+FFFD for each broken byte.
std::string as_utf8(std::string_view text);

}  // namespace kilter
