#include "kilter/base/quoted_names.h"

namespace kilter {

std::string quoted_names(const std::vector<std::string>& names, std::string_view last) {
  std::string text;
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (i > 0 && i + 1 == names.size())
      text.append(" ").append(last).append(" ");
    else if (i > 0)
      text += ", ";
    text.append("\"").append(names[i]).append("\"");
  }
  return text;
}

}  // namespace kilter
