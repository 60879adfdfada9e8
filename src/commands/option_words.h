// Options that several commands take, and what each command takes.
#pragma once

#include "words.h"

namespace kilter::commands {

std::vector<OptionWords> survey_options();
std::vector<OptionWords> align_options();
std::vector<OptionWords> conform_options();
std::vector<OptionWords> check_options();
std::vector<OptionWords> batch_options();

}  // namespace kilter::commands
