#pragma once

#include <nlohmann/json.hpp>
#include <string>

namespace kilter::edits {

/// JSON for people: a list or an object that holds plain values only stands on one line, any other
/// has a line for each of what it holds. Numbers with every digit. What is not UTF-8 in a text is
/// replaced by U+FFFD.
std::string to_readable_json(const nlohmann::ordered_json& value);

}  // namespace kilter::edits
