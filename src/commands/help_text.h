// What --help prints.
#pragma once

#include <string>

#include "words.h"

namespace kilter::commands {

std::string program_help();
std::string command_help(const CommandWords& command);

}  // namespace kilter::commands
