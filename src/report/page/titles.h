// What a finding is, in a few words.
#pragma once

#include <string>

#include "kilter/base/lineup.h"

namespace kilter::report {

/// Of its code; the code itself where there are no words for it.
std::string title_of(const Finding& finding);

}  // namespace kilter::report
