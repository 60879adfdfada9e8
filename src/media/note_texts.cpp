#include "note_texts.h"

#include <algorithm>
#include <array>

#include "kilter/base/utf8.h"

namespace kilter::media {
namespace {

bool is_control(char32_t code) { return code < 0x20 || (code >= 0x7F && code < 0xA0); }

/// U+00C0 to U+017F without their accents; '*' where it takes two letters.
constexpr char32_t kAccentedFrom = 0xC0;
constexpr std::string_view kAccented =
    "AAAAAA*CEEEEIIIIDNOOOOOxOUUUUY**"
    "aaaaaa*ceeeeiiiidnooooo/ouuuuy*y"
    "AaAaAaCcCcCcCcDdDdEeEeEeEeEeGgGgGgGgHhHhIiIiIiIiIi**JjKkkLlLlLlLlLlNnNnNnnNnOoOoOo**"
    "RrRrRrSsSsSsSsTtTtTtUuUuUuUuUuUuWwYyYZzZzZzs";
static_assert(kAccented.size() == 0x180 - kAccentedFrom);

struct Spelling {
  char32_t first, last;
  std::string_view letters;
};
constexpr std::array kSpellings{
    Spelling{0xA0, 0xA0, " "},      Spelling{0xC6, 0xC6, "AE"},     Spelling{0xDE, 0xDE, "Th"},
    Spelling{0xDF, 0xDF, "ss"},     Spelling{0xE6, 0xE6, "ae"},     Spelling{0xFE, 0xFE, "th"},
    Spelling{0x132, 0x132, "IJ"},   Spelling{0x133, 0x133, "ij"},   Spelling{0x152, 0x152, "OE"},
    Spelling{0x153, 0x153, "oe"},   Spelling{0x300, 0x36F, ""},  // combining accents
    Spelling{0x1E9E, 0x1E9E, "SS"}, Spelling{0x2000, 0x200A, " "},  Spelling{0x2010, 0x2015, "-"},
    Spelling{0x2018, 0x201B, "'"},  Spelling{0x201C, 0x201F, "\""}, Spelling{0x2026, 0x2026, "..."},
    Spelling{0x202F, 0x202F, " "}};

std::string_view ascii_of(char32_t code) {
  const auto* const spelling =
      std::find_if(kSpellings.begin(), kSpellings.end(),
                   [&](const Spelling& each) { return code >= each.first && code <= each.last; });
  if (spelling != kSpellings.end()) return spelling->letters;
  if (code >= kAccentedFrom && code < kAccentedFrom + kAccented.size())
    return kAccented.substr(code - kAccentedFrom, 1);
  return "?";
}

}  // namespace

std::string one_line(std::string_view text) {
  std::string line;
  while (!text.empty()) {
    const Utf8Letter letter = first_letter(text);
    if (!letter.valid || letter.code == 0xFFFE || letter.code == 0xFFFF)
      line += "\xEF\xBF\xBD";
    else if (is_control(letter.code))
      line += ' ';
    else
      line += text.substr(0, letter.bytes);
    text.remove_prefix(letter.bytes);
  }
  return line;
}

std::string ascii_line(std::string_view text) {
  const std::string line = one_line(text);
  std::string ascii;
  for (std::string_view left = line; !left.empty();) {
    const Utf8Letter letter = first_letter(left);
    ascii += letter.bytes == 1 ? left.substr(0, 1) : ascii_of(letter.code);
    left.remove_prefix(letter.bytes);
  }
  return ascii;
}

std::string ascii_lines(std::string_view text) {
  std::string lines;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find_first_of("\r\n"), text.size());
    if (end > 0) lines += ascii_line(text.substr(0, end)) + "\r\n";
    text.remove_prefix(std::min(end + 1, text.size()));
  }
  return lines;
}

std::string xml_text(std::string_view text) {
  std::string escaped;
  for (const char letter : one_line(text)) {
    switch (letter) {
      case '&':
        escaped += "&amp;";
        break;
      case '<':
        escaped += "&lt;";
        break;
      case '>':
        escaped += "&gt;";
        break;
      default:
        escaped += letter;
    }
  }
  return escaped;
}

}  // namespace kilter::media
