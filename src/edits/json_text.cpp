#include "json_text.h"

#include <algorithm>

#include "kilter/base/utf8.h"

namespace kilter::edits {
namespace {

using Json = nlohmann::ordered_json;

std::string plain(const Json& value) {
  return with_controls_escaped(value.dump(-1, ' ', false, Json::error_handler_t::replace));
}

bool fits_one_line(const Json& value) {
  return std::none_of(value.begin(), value.end(),
                      [](const Json& held) { return held.is_structured() && !held.empty(); });
}

void append(std::string& text, const Json& value, const std::string& indent);

void append_held(std::string& text, const Json& value, const std::string& separator,
                 const std::string& indent) {
  for (auto held = value.begin(); held != value.end(); ++held) {
    if (held != value.begin()) text += separator;
    if (value.is_object()) text += plain(held.key()) + ": ";
    append(text, *held, indent);
  }
}

void append(std::string& text, const Json& value, const std::string& indent) {
  if (!value.is_structured() || value.empty()) {
    text += plain(value);
    return;
  }
  text += value.is_object() ? '{' : '[';
  if (fits_one_line(value)) {
    text += ' ';
    append_held(text, value, ", ", indent);
    text += ' ';
  } else {
    const std::string inner = indent + "  ";
    text += '\n' + inner;
    append_held(text, value, ",\n" + inner, inner);
    text += '\n' + indent;
  }
  text += value.is_object() ? '}' : ']';
}

}  // namespace

std::string to_readable_json(const Json& value) {
  std::string text;
  append(text, value, "");
  return text + '\n';
}

}  // namespace kilter::edits
