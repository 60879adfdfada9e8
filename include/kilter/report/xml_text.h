// Text inside XML.
#pragma once

#include <string>
#include <string_view>

namespace kilter::report {

/// `text` as it stands between tags, and in an attribute's double quotes; "?" for control
/// characters, which XML 1.0 does not know, U+FFFD for what is not UTF-8.
std::string xml_text(std::string_view text);

}  // namespace kilter::report
