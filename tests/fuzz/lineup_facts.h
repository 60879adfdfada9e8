// All that a lineup holds, as one text: two lineups are equal where these are.
#pragma once

#include <string>

#include "kilter/base/lineup.h"

namespace kilter::fuzz {

/// By member, and not by what writes lineups, which is what is to be told on. Numbers to their last
/// bit.
std::string facts_of(const Lineup& lineup);

}  // namespace kilter::fuzz
