// The findings of a lineup with their numbers and places.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/report/report_page.h"

namespace kilter::report {

/// Which file is the mix is the session's question too, and comes before all others.
enum class Owner { mix_choice, track, mix, session };

struct NumberedFinding {
  const Finding* finding{nullptr};
  int number{
      0};  ///< as the tables of the command line count: tracks of which the same holds share one
  std::string text;  ///< as it is read, with the clocks of its place
  Owner owner{Owner::session};
  const LineupTrack* track{nullptr};  ///< of Owner::track
  bool needs_person{false};           ///< it, or another of its number
  std::optional<Stretch> place;       ///< on the timeline: where it first is
  bool is_first{true};                ///< of its number
  /// Of a first one: all tracks' names, or the mix's file; none: the session.
  std::vector<std::string> owners;
};

/// Which of them the tables of a command count first.
enum class First { tracks, mix };

/// All, one for each track of which it holds, in order of owners. Points into the lineup.
std::vector<NumberedFinding> numbered(const Lineup& lineup, First first = First::tracks);

/// What a person reads of a first one.
Need need_of(const NumberedFinding& each);

/// Where one of a number needs a person, so do all.
void share_needs(std::vector<NumberedFinding>& findings);

}  // namespace kilter::report
