#include "kilter/report/xml_text.h"

#include "kilter/base/utf8.h"

namespace kilter::report {

std::string xml_text(std::string_view text) {
  std::string xml;
  for (const char c : as_utf8(text)) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '&')
      xml += "&amp;";
    else if (c == '<')
      xml += "&lt;";
    else if (c == '>')
      xml += "&gt;";
    else if (c == '"')
      xml += "&quot;";
    else
      xml += byte < 0x20 || byte == 0x7F ? '?' : c;
  }
  return xml;
}

}  // namespace kilter::report
