// Names in files of seven bits.
#pragma once

#include <string>
#include <string_view>

namespace kilter::edits {

/// Printable ASCII: `_` for every other letter, be it of several bytes, and for what is in
/// `forbidden`.
std::string plain_text(std::string_view text, std::string_view forbidden = {});
std::string upper_case(std::string text);

}  // namespace kilter::edits
