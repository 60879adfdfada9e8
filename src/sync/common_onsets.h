// How much of what sets in on one track sets in on another at the same time.
#pragma once

#include "kilter/base/time_map.h"
#include "kilter/signal/onset_features.h"

namespace kilter::sync {

/// A track's features and where they are believed to lie.
struct MappedFeatures {
  const OnsetFeatures* features{nullptr};
  const TimeMap* map{nullptr};
};

/// The correlation of their features at the place where both lie, over some minutes of a long
/// track: bleed shows, two people who take turns do not. 0 where they never meet.
double onsets_in_common(const MappedFeatures& a, const MappedFeatures& b);

}  // namespace kilter::sync
