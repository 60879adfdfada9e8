#include "plain_text.h"

namespace kilter::edits {

std::string plain_text(std::string_view text, std::string_view forbidden) {
  std::string plain;
  for (const char each : text) {
    const auto byte = static_cast<unsigned char>(each);
    const bool inside_letter = byte >= 0x80 && byte < 0xC0;  // of UTF-8: its first byte has spoken
    if (inside_letter) continue;
    const bool taken =
        byte >= 0x20 && byte < 0x7F && forbidden.find(each) == std::string_view::npos;
    plain += taken ? each : '_';
  }
  return plain;
}

std::string upper_case(std::string text) {
  for (char& each : text)
    if (each >= 'a' && each <= 'z') each = static_cast<char>(each - 'a' + 'A');
  return text;
}

}  // namespace kilter::edits
