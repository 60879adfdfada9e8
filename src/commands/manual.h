// Manual pages, for man(7) macros.
#pragma once

#include <string>

#include "words.h"

namespace kilter::commands {

/// kilter(1)
std::string program_manual();
/// kilter-COMMAND(1)
std::string command_manual(const CommandWords& command);

}  // namespace kilter::commands
