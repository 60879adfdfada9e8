// Names as a sentence lists them.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace kilter {

/// "cook", "keeper" and "mate", each in quotes; `last` stands before the last one.
std::string quoted_names(const std::vector<std::string>& names, std::string_view last = "and");

}  // namespace kilter
