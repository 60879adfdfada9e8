// The mix on the timeline, which runs on where the mix lost or repeated something.
#pragma once

#include <vector>

#include "seams.h"

namespace kilter::sync {

/// Mix time to timeline: the mix's seams taken out.
std::vector<Span> mix_spans_of(const std::vector<Seam>& seams, double mix_length_s);

/// A second of the mix on the timeline. One that lies in no span, as where the mix repeats itself,
/// goes to the seam.
double to_timeline(const std::vector<Span>& mix_spans, double mix_s);

/// Whether the timeline has a place for a second of the mix: not where the mix repeats itself.
bool is_on_timeline(const std::vector<Span>& mix_spans, double mix_s);

}  // namespace kilter::sync
