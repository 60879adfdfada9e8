#include "kilter/base/system_words.h"

#include <system_error>

namespace kilter {

std::string system_words(int code) { return std::generic_category().message(code); }

}  // namespace kilter
