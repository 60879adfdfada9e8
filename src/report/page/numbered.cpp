#include "numbered.h"

#include <algorithm>
#include <array>
#include <string_view>

#include "findings_text.h"
#include "kilter/report/lineup_report.h"
#include "kilter/survey/survey.h"

namespace kilter::report {
namespace {

/// Why a track is not firm.
bool tells_a_doubt(const Finding& finding) {
  constexpr std::array<std::string_view, 5> kCodes{"thin-evidence", "sibling-placed", "told-start",
                                                   "unmatched", "mix-copy"};
  return std::find(kCodes.begin(), kCodes.end(), finding.code) != kCodes.end();
}

std::optional<Stretch> place_of(const Finding& finding, const LineupTrack* track) {
  if (!finding.stretches.empty()) return finding.stretches.front();
  if (finding.line_s) return Stretch{*finding.line_s, *finding.line_s};
  if (!finding.at_s || track == nullptr || !track->map) return std::nullopt;
  const auto line_s = track->map->to_line(*finding.at_s);
  if (!line_s) return std::nullopt;
  return Stretch{*line_s, *line_s};
}

bool needs_person(const NumberedFinding& each) {
  switch (each.owner) {
    case Owner::track:
      return is_a_persons(*each.track) &&
             (survey::track_needs_person({*each.finding}) ||
              (each.track->standing != Standing::firm && tells_a_doubt(*each.finding)));
    case Owner::mix:
      return survey::track_needs_person({*each.finding});
    case Owner::mix_choice:
    case Owner::session:
      return survey::session_needs_person({*each.finding});
  }
  return false;
}

}  // namespace

std::vector<NumberedFinding> numbered(const Lineup& lineup) {
  std::vector<NumberedFinding> all;
  const auto add = [&](const std::vector<Finding>& findings, Owner owner,
                       const LineupTrack* track) {
    for (const Finding& finding : findings) {
      if ((owner == Owner::mix_choice || owner == Owner::session) &&
          is_foremost(finding) != (owner == Owner::mix_choice))
        continue;
      const int number = static_cast<int>(all.size()) + 1;
      NumberedFinding& each = all.emplace_back();
      each = {&finding, number, owner, track, false, place_of(finding, track)};
      each.needs_person = needs_person(each);
    }
  };
  add(lineup.findings, Owner::mix_choice, nullptr);
  for (const LineupTrack& track : lineup.tracks) add(track.findings, Owner::track, &track);
  if (lineup.mix) add(lineup.mix->findings, Owner::mix, nullptr);
  add(lineup.findings, Owner::session, nullptr);
  return all;
}

std::string owner_name(const NumberedFinding& each, const Lineup& lineup) {
  switch (each.owner) {
    case Owner::track:
      return each.track->name;
    case Owner::mix:
      return lineup.mix->file;
    case Owner::mix_choice:
    case Owner::session:
      return "";
  }
  return "";
}

}  // namespace kilter::report
