// Text that comes from anywhere, as HTML and as data of a script.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

namespace kilter::report {

/// As the content of an element or the value of an attribute in double quotes. Control characters
/// and line ends show as pictures of themselves; what is not UTF-8, or no character, as U+FFFD.
std::string escaped(std::string_view text);

/// A name, held apart from the text around it whichever way it runs.
std::string name_html(std::string_view name);

/// A path as part of a relative address (RFC 3986): what is neither letter, digit, "-._~" nor "/"
/// as %XX.
std::string url_text(std::string_view path);

/// In ASCII, and without anything that ends a script element or begins markup.
std::string script_json(const nlohmann::ordered_json& value);

/// RFC 4648.
std::string base64(const std::string& bytes);

/// At most `decimals` of them, none of them trailing zeros: "0.5", "-3", "0".
std::string short_number(double value, int decimals);

}  // namespace kilter::report
