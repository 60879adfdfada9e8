// Whose stem is to be mended before another's is believed to be off.
#pragma once

#include <vector>

#include "kilter/report/check_report.h"

namespace kilter::commands {

/// A neighbour's microphone hears a person who is missing or out of place as well, later by the way
/// through the room: what is said of it then may be that person's. Whom that sends back to another
/// himself, nobody is sent to.
void tell_whom_to_mend_first(std::vector<report::CheckedStem>& stems);

}  // namespace kilter::commands
