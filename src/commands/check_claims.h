// What is held against the mix: finished stems from its start on, or a session by its lineup.
#pragma once

#include <optional>
#include <vector>

#include "check_verdicts.h"
#include "kilter/base/lineup.h"
#include "kilter/survey/survey.h"
#include "lineup_builder.h"

namespace kilter::commands {

/// From the mix's start on, in step with it.
TimeMap in_place(double length_s);

/// One for each track that can be measured, in the input's order: in place where `lineup` is
/// nothing, else where it says; none for what it does not place.
std::vector<Claim> claims_of(const std::optional<Lineup>& lineup, const survey::Survey& survey,
                             const AlignInput& input);

}  // namespace kilter::commands
