// What the analysis heard, as the page shows it.
#pragma once

#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/report/report_page.h"
#include "lineup_builder.h"

namespace kilter::commands {

/// Of each track of `lineup`, which was built of the same, and of the mix. Tracks that were not
/// measured have no windows.
report::Heard heard_of(const survey::Survey& survey, const AlignInput& input,
                       const std::vector<sync::TrackPlacing>& placings, const Lineup& lineup);

/// How far the tracks explained the mix where the alignment put them, in the mix's own time: the
/// timeline may become another.
report::NullDepth null_depth(const sync::Alignment& alignment);

/// Windows of `heard`, which tell how far off the maps of `before` are, then tell it of those of
/// `lineup`: the same tracks in the same order on
/// the same timeline, placed otherwise.
void measure_from(const Lineup& lineup, const Lineup& before, report::Heard& heard);

}  // namespace kilter::commands
