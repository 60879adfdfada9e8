#include "markup.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdint>

#include "kilter/base/utf8.h"

namespace kilter::report {
namespace {

constexpr std::string_view kUnknown = "\xEF\xBF\xBD";  // U+FFFD
constexpr std::string_view kNewLine = "\xE2\x90\xA4";  // U+2424, its picture

/// Characters that HTML does not let stand in a document.
bool is_no_character(char32_t code) {
  return (code >= 0x80 && code < 0xA0) || (code >= 0xFDD0 && code <= 0xFDEF) ||
         (code & 0xFFFE) == 0xFFFE;
}

/// Its picture (U+2400 and on).
std::string picture_of(char32_t control) {
  const auto code = control == 0x7F ? 0x2421U : 0x2400U + static_cast<unsigned>(control);
  return {static_cast<char>(0xE2), static_cast<char>(0x80U | (code >> 6U & 0x3FU)),
          static_cast<char>(0x80U | (code & 0x3FU))};
}

}  // namespace

std::string escaped(std::string_view text) {
  std::string html;
  while (!text.empty()) {
    const Utf8Letter letter = first_letter(text);
    if (!letter.valid || is_no_character(letter.code))
      html += kUnknown;
    else if (letter.code < 0x20 || letter.code == 0x7F)
      html += picture_of(letter.code);
    else if (letter.code == 0x2028 || letter.code == 0x2029)
      html += kNewLine;  // would end the paragraph, and with it what holds a name's direction in
    else if (letter.code == '&')
      html += "&amp;";
    else if (letter.code == '<')
      html += "&lt;";
    else if (letter.code == '>')
      html += "&gt;";
    else if (letter.code == '"')
      html += "&quot;";
    else if (letter.code == '\'')
      html += "&#39;";
    else
      html += text.substr(0, letter.bytes);
    text.remove_prefix(letter.bytes);
  }
  return html;
}

std::string name_html(std::string_view name) { return "<bdi>" + escaped(name) + "</bdi>"; }

std::string url_text(std::string_view path) {
  constexpr std::string_view kPlain =
      "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._~/";
  std::string text;
  for (const char letter : path) {
    if (kPlain.find(letter) != std::string_view::npos)
      text += letter;
    else
      text += fmt::format("%{:02X}", static_cast<unsigned>(static_cast<unsigned char>(letter)));
  }
  return text;
}

std::string script_json(const nlohmann::ordered_json& value) {
  using Json = nlohmann::ordered_json;
  const std::string plain = value.dump(-1, ' ', true, Json::error_handler_t::replace);
  std::string safe;
  safe.reserve(plain.size());
  for (const char letter : plain) {
    if (letter == '<' || letter == '>' || letter == '&')
      safe += fmt::format("\\u{:04x}", static_cast<unsigned>(letter));
    else
      safe += letter;
  }
  return safe;
}

std::string base64(const std::string& bytes) {
  constexpr std::string_view kLetters =
      "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string text;
  text.reserve(4 * ((bytes.size() + 2) / 3));
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const std::size_t count = std::min<std::size_t>(3, bytes.size() - i);
    std::uint32_t bits = 0;
    for (std::size_t k = 0; k < 3; ++k)
      bits = bits << 8U | (k < count ? static_cast<unsigned char>(bytes[i + k]) : 0U);
    for (std::size_t k = 0; k < 4; ++k)
      text += k <= count ? kLetters[bits >> (18U - 6U * k) & 63U] : '=';
  }
  return text;
}

std::string short_number(double value, int decimals) {
  std::string text = fmt::format("{:.{}f}", value, decimals);
  if (text.find('.') != std::string::npos) {
    text.erase(text.find_last_not_of('0') + 1);
    if (text.back() == '.') text.pop_back();
  }
  return text == "-0" ? "0" : text;
}

}  // namespace kilter::report
