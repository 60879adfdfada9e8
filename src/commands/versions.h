// What --version prints.
#pragma once

#include <string>

namespace kilter::commands {

/// "kilter 0.1.0", and below it a line for every library: those that are shared as they are loaded,
/// the others as they were built in.
std::string version_text();

}  // namespace kilter::commands
