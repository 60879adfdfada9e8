// Findings that may come of a wrong mix alone.
#pragma once

#include "kilter/base/lineup.h"

namespace kilter::commands {

/// The mix's header surely states a wrong rate: what fits nowhere or hardly, and whom no track
/// explains, is told as what may come of that.
void rest_on_the_mixs_rate(Lineup& lineup);

/// Another file is the mix by its sound: all that was measured against this one is told as what may
/// come of that. Codes, places and amounts stay.
void rest_on_the_choice_of_mix(Lineup& lineup);

}  // namespace kilter::commands
