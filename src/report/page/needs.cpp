// What needs a person, and the session in a sentence.
#include <fmt/format.h>

#include <algorithm>

#include "kilter/base/clock_text.h"
#include "kilter/report/lineup_report.h"
#include "kilter/report/report_page.h"
#include "lineup_words.h"
#include "numbered.h"
#include "titles.h"

namespace kilter::report {
namespace {

std::string sentence_case(std::string text) {
  if (!text.empty() && text.front() >= 'a' && text.front() <= 'z')
    text.front() = static_cast<char>(text.front() - 'a' + 'A');
  return text;
}

Need of_failure(const std::string& owner, const Error& failure) {
  std::string text = sentence_case(failure.what) + '.';
  if (!failure.next_step.empty()) text += ' ' + sentence_case(failure.next_step) + '.';
  return {{owner}, "Its stem is missing", std::move(text), 0, std::nullopt};
}

Need of_doubt(const LineupTrack& track) {
  if (track.standing == Standing::shaky)
    return {{track.name},
            "Its place is shaky",
            "Listen to its stem beside the others before you cut with it.",
            0,
            std::nullopt};
  return {{track.name},
          "It has no place",
          "There is no stem of it. Check that it belongs to this session, or place it by hand.",
          0,
          std::nullopt};
}

Need of_bound(const LineupTrack& track, double limit_ms) {
  return {{track.name},
          "May lie beyond the limit",
          fmt::format(
              "It may be {} off, and the limit is {:g} ms. Listen to its stem beside the others.",
              short_time_text(1e-6 * track.uncertainty_us), limit_ms),
          0,
          std::nullopt};
}

Need of_outside(const LineupTrack& track) {
  return {{track.name},
          "Lies outside the stems' time",
          "Its stem is silent. Check its place, or conform with --range all.",
          0,
          std::nullopt};
}

/// Of findings that need a person; what tracks share is the first one's.
std::vector<Need> of_findings(const std::vector<NumberedFinding>& findings, Owner owner,
                              const LineupTrack* track) {
  std::vector<Need> needs;
  for (const NumberedFinding& each : findings)
    if (each.needs_person && each.is_first && each.owner == owner && each.track == track)
      needs.push_back(need_of(each));
  return needs;
}

std::vector<Need> of_track(const ReportPage& page, std::size_t index,
                           const std::vector<NumberedFinding>& findings) {
  const LineupTrack& track = page.lineup->tracks[index];
  std::vector<Need> needs = of_findings(findings, Owner::track, &track);
  const bool is_told = std::any_of(
      findings.begin(), findings.end(),
      [&](const NumberedFinding& each) { return each.needs_person && each.track == &track; });
  if (!is_told && is_a_persons(track) && track.standing != Standing::firm)
    needs.push_back(of_doubt(track));
  // Of one that is not firm all is said already.
  if (track.standing == Standing::firm && is_beyond(track, page.limit_ms))
    needs.push_back(of_bound(track, page.limit_ms));
  if (page.stems == nullptr) return needs;
  if (const auto& failure = page.stems->stems[index].failure)
    needs.push_back(of_failure(track.name, *failure));
  if (lies_outside(track, *page.stems)) needs.push_back(of_outside(track));
  return needs;
}

/// "mate, pilot and 3 more"
std::string listed(const std::vector<const LineupTrack*>& tracks) {
  constexpr std::size_t kMost = 4;
  const std::size_t shown = tracks.size() <= kMost ? tracks.size() : kMost - 1;
  std::string text;
  for (std::size_t i = 0; i < shown; ++i) {
    if (i > 0) text += i + 1 == tracks.size() ? " and " : ", ";
    text += tracks[i]->name;
  }
  if (shown < tracks.size()) text += fmt::format(" and {} more", tracks.size() - shown);
  return text;
}

std::string without_mix(const Lineup& lineup) {
  return "There is no mix, and the tracks lie on the clock of \"" + lineup.timeline_clock + '"';
}

std::string of_firm(const std::vector<const LineupTrack*>& firm, std::size_t all) {
  double widest_us = 0.0;
  for (const LineupTrack* track : firm) widest_us = std::max(widest_us, track->uncertainty_us);
  std::string text;
  if (firm.empty()) return all == 1 ? "The track has no sure place" : "No track has a sure place";
  if (firm.size() == all)
    text = all == 1   ? "The track lies "
           : all == 2 ? "Both tracks lie "
                      : fmt::format("All {} tracks lie ", all);
  else
    text = fmt::format("{} of {} tracks {} ", firm.size(), all, firm.size() == 1 ? "lies" : "lie");
  text += "in step with the mix";
  if (widest_us > 0.0) text += ", to " + short_time_text(1e-6 * widest_us) + " or better";
  return text;
}

}  // namespace

bool is_beyond(const LineupTrack& track, double limit_ms) {
  return track.map && is_a_persons(track) && track.uncertainty_us > 1000.0 * limit_ms;
}

bool lies_outside(const LineupTrack& track, const conform::ConformReport& stems) {
  if (!track.is_used()) return false;
  const double to_s = stems.from_s + stems.length_s();
  const auto spans = track.map->spans();
  return spans.front().line_from_s >= to_s || spans.back().line_to_s <= stems.from_s;
}

std::vector<Need> needs_of(const ReportPage& page) {
  const std::vector<NumberedFinding> findings = numbered(*page.lineup);
  std::vector<Need> needs;
  const auto add = [&](std::vector<Need> more) {
    for (Need& need : more) {
      const auto alike = std::find_if(needs.begin(), needs.end(), [&](const Need& other) {
        return need.number == 0 && other.number == 0 && other.title == need.title &&
               other.text == need.text;
      });
      if (alike == needs.end())
        needs.push_back(std::move(need));
      else
        alike->owners.insert(alike->owners.end(), need.owners.begin(), need.owners.end());
    }
  };
  add(of_findings(findings, Owner::mix_choice, nullptr));
  for (std::size_t i = 0; i < page.lineup->tracks.size(); ++i) add(of_track(page, i, findings));
  add(of_findings(findings, Owner::mix, nullptr));
  if (page.stems != nullptr && page.stems->mix && page.stems->mix->failure)
    needs.push_back(of_failure(page.stems->mix->track, *page.stems->mix->failure));
  add(of_findings(findings, Owner::session, nullptr));
  if (page.stems != nullptr)
    if (const double past_s = edits::past_midnight_s(page.record, page.stems->length_s());
        past_s > 0.0)
      needs.push_back(
          {{}, "The lists end at midnight", past_midnight_text(past_s), 0, std::nullopt});
  return needs;
}

std::string session_sentence(const ReportPage& page) {
  const Lineup& lineup = *page.lineup;
  const auto [firm, told] = firm_tracks(lineup);
  const auto shaky = with_standing(lineup, Standing::shaky);
  const auto unplaced = with_standing(lineup, Standing::unplaced);
  const std::size_t all = firm.size() + told.size() + shaky.size() + unplaced.size();
  std::string text = all == 0      ? "No track is a person's"
                     : !lineup.mix ? without_mix(lineup)
                                   : of_firm(firm, all);
  if (!told.empty())
    text += fmt::format("; {} {} told", listed(told),
                        told.size() == 1 ? "lies where it was" : "lie where they were");
  if (!shaky.empty())
    text += fmt::format("; {} {} shaky", listed(shaky), shaky.size() == 1 ? "is" : "are");
  if (!unplaced.empty())
    text +=
        fmt::format("; {} {} no place", listed(unplaced), unplaced.size() == 1 ? "has" : "have");
  const std::size_t needs = needs_of(page).size();
  return text + (needs == 0   ? ". Nothing needs a person."
                 : needs == 1 ? ". One thing needs a person."
                              : fmt::format(". {} things need a person.", needs));
}

}  // namespace kilter::report
