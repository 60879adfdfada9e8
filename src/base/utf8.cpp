#include "kilter/base/utf8.h"

#include <array>

namespace kilter {

Utf8Letter first_letter(std::string_view text) {
  struct Form {
    unsigned mask, lead;
    std::size_t bytes;
    char32_t least;  // fewer bytes would do below this
  };
  constexpr std::array kForms{Form{0x80U, 0x00U, 1, 0}, Form{0xE0U, 0xC0U, 2, 0x80},
                              Form{0xF0U, 0xE0U, 3, 0x800}, Form{0xF8U, 0xF0U, 4, 0x10000}};
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  for (const Form& form : kForms) {
    if ((byte(0) & form.mask) != form.lead) continue;
    if (text.size() < form.bytes) return {};
    char32_t code = byte(0) & ~form.mask;
    for (std::size_t i = 1; i < form.bytes; ++i) {
      if ((byte(i) & 0xC0U) != 0x80U) return {};
      code = (code << 6U) | (byte(i) & 0x3FU);
    }
    const bool surrogate = code >= 0xD800 && code <= 0xDFFF;
    if (code < form.least || code > 0x10FFFF || surrogate) return {};
    return {code, form.bytes, true};
  }
  return {};
}

bool is_control(char32_t code) {
  return code < 0x20 || (code >= 0x7F && code <= 0x9F) || code == 0x061C || code == 0x200E ||
         code == 0x200F || (code >= 0x2028 && code <= 0x202E) || (code >= 0x2066 && code <= 0x2069);
}

std::string with_controls_escaped(std::string_view json) {
  constexpr std::string_view kDigits = "0123456789abcdef";
  std::string result;
  result.reserve(json.size());
  while (!json.empty()) {
    const Utf8Letter letter = first_letter(json);
    // Below blanks JSON itself has none in a string: what stands there parts its lines.
    if (letter.valid && letter.code > 0x20 && is_control(letter.code)) {
      result += "\\u";
      for (const unsigned shift : {12U, 8U, 4U, 0U}) result += kDigits[letter.code >> shift & 0xFU];
    } else {
      result += json.substr(0, letter.bytes);
    }
    json.remove_prefix(letter.bytes);
  }
  return result;
}

bool is_utf8(std::string_view text) {
  while (!text.empty()) {
    const Utf8Letter letter = first_letter(text);
    if (!letter.valid) return false;
    text.remove_prefix(letter.bytes);
  }
  return true;
}

std::string as_utf8(std::string_view text) {
  constexpr std::string_view kReplacement = "\xEF\xBF\xBD";
  std::string result;
  while (!text.empty()) {
    const Utf8Letter letter = first_letter(text);
    result += letter.valid ? text.substr(0, letter.bytes) : kReplacement;
    text.remove_prefix(letter.bytes);
  }
  return result;
}

}  // namespace kilter
