#include "numbered.h"

#include <algorithm>
#include <array>
#include <map>
#include <set>
#include <string_view>
#include <utility>

#include "findings_text.h"
#include "kilter/report/finding_words.h"
#include "kilter/report/lineup_report.h"
#include "kilter/survey/survey.h"
#include "titles.h"

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

std::vector<NumberedFinding> numbered(const Lineup& lineup, First first) {
  std::vector<NumberedFinding> all;
  FindingNumbers numbers;
  std::map<int, std::size_t> first_of;  // in `all`, by number
  const auto add = [&](const std::vector<Finding>& findings, Owner owner, const LineupTrack* track,
                       const std::string& name) {
    for (const Finding& finding : findings) {
      if ((owner == Owner::mix_choice || owner == Owner::session) &&
          is_foremost(finding) != (owner == Owner::mix_choice))
        continue;
      NumberedFinding each;
      each.finding = &finding;
      each.text = track == nullptr ? text_with_clocks(finding, nullptr, kMix)
                                   : text_with_clocks(finding, map_for_words(*track, lineup));
      each.number = numbers.number_of(finding, each.text, !name.empty());
      each.owner = owner;
      each.track = track;
      each.place = place_of(finding, track);
      each.needs_person = needs_person(each);
      const auto [known, is_new] = first_of.try_emplace(each.number, all.size());
      each.is_first = is_new;
      all.push_back(std::move(each));
      agree_on(finding, all.back().text, all[known->second].text);
      std::vector<std::string>& owners = all[known->second].owners;
      if (!name.empty() && (owners.empty() || owners.back() != name)) owners.push_back(name);
    }
  };
  const auto add_mix = [&] {
    if (lineup.mix) add(lineup.mix->findings, Owner::mix, nullptr, lineup.mix->file);
  };
  add(lineup.findings, Owner::mix_choice, nullptr, "");
  if (first == First::mix) add_mix();
  for (const LineupTrack& track : lineup.tracks)
    add(track.findings, Owner::track, &track, track.name);
  if (first == First::tracks) add_mix();
  add(lineup.findings, Owner::session, nullptr, "");
  share_needs(all);
  return all;
}

Need need_of(const NumberedFinding& each) {
  return {each.owners, title_of(*each.finding), each.text, each.number, each.place};
}

void share_needs(std::vector<NumberedFinding>& findings) {
  std::set<int> needed;
  for (const NumberedFinding& each : findings)
    if (each.needs_person) needed.insert(each.number);
  for (NumberedFinding& each : findings) each.needs_person = needed.contains(each.number);
}

}  // namespace kilter::report
