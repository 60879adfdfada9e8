#pragma once

#include <string>

namespace kilter {

/// What the system calls an errno, for example "No space left on device". Safe from any thread.
std::string system_words(int code);

}  // namespace kilter
