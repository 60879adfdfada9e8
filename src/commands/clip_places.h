// Where somebody should listen to the stems.
#pragma once

#include <vector>

#include "kilter/conform/conform.h"
#include "kilter/report/report_page.h"

namespace kilter::commands {

struct ClipPlaces {
  std::vector<conform::ClipPlace> places;
  std::vector<conform::SeamsLeftOut> left_out;
};

/// Of every track with a stem: its seams and the mix's that it covers, six at most, those of the
/// largest steps; its start and its end; of its windows, as far as they were measured, the one that
/// departs most from its map of those that count, and the one that tells least, where there is
/// sound to hear. Where none was measured that is the middle of the span with the widest bound, if
/// its spans differ.
ClipPlaces clip_places(const Lineup& lineup, const report::Heard* heard,
                       const conform::ConformReport& stems);

}  // namespace kilter::commands
