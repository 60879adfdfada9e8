// The findings of a lineup with their numbers and places.
#pragma once

#include <optional>
#include <vector>

#include "kilter/base/lineup.h"

namespace kilter::report {

/// Which file is the mix is the session's question too, and comes before all others.
enum class Owner { mix_choice, track, mix, session };

struct NumberedFinding {
  const Finding* finding{nullptr};
  int number{0};  ///< as the tables of the command line count
  Owner owner{Owner::session};
  const LineupTrack* track{nullptr};  ///< of Owner::track
  bool needs_person{false};
  std::optional<Stretch> place;  ///< on the timeline: where it first is
};

/// All, in order of their numbers. Points into the lineup.
std::vector<NumberedFinding> numbered(const Lineup& lineup);

/// The track's name, the mix's file, or nothing.
std::string owner_name(const NumberedFinding& each, const Lineup& lineup);

}  // namespace kilter::report
