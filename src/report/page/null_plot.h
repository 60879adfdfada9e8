// What the tracks leave of the mix, as bytes and as drawn.
#pragma once

#include <string>
#include <vector>

#include "axis.h"
#include "kilter/report/report_page.h"

namespace kilter::report {

/// The drawing reaches from here up to 0 dB: all is left.
inline constexpr double kDeepest_db = -40.0;

/// A byte per cell. Of what is left: 0 where no track lies, 1 in a pause, else 2 for 0 dB or more
/// and one more for each quarter of a decibel below. Of the mix: 255 for its loudest cell, one less
/// for each half of a decibel below.
struct NullBytes {
  std::string rest;
  std::string mix;
};
NullBytes null_bytes(const NullDepth& null);

/// Areas from the bottom up to what is left, in the axis' units, 100 high: per column the half
/// second that is explained worst, and the power of all that is left. Nothing where all cells of a
/// column are pauses, or no track lies. `spans` of the mix.
struct NullPaths {
  std::string worst;
  std::string whole;
};
NullPaths null_paths(const NullDepth& null, const std::vector<Span>& spans, const Axis& axis,
                     int columns);

}  // namespace kilter::report
