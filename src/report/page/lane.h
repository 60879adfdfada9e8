// A recording as a lane on the axis of time, with what was found in it.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "parts.h"

namespace kilter::report {

struct Lane {
  std::string name;
  std::string words;  ///< HTML
  const HeardTrack* heard{nullptr};
  std::vector<Span> spans;
  std::string marks;
  std::string kind;  ///< a class
};

/// `number`: its place in the script's data.
std::string lane_html(const PageParts& parts, const Lane& lane, std::size_t number);
/// Areas, seams and flags of what was found on a track, or on the mix and the session (nullptr).
std::string lane_marks(const PageParts& parts, const LineupTrack* track);
/// All lanes below the axis, on which `band` lies.
std::string lanes_html(const PageParts& parts, const std::string& lanes, const std::string& band);
/// Only of what is drawn.
std::string lanes_legend(const PageParts& parts);

}  // namespace kilter::report
