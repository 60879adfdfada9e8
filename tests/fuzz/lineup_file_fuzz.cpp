// lineup.json, mended by hand or not: an error that names the place, or a lineup that is written as
// it was read and that every writer of lists can do with.
#include "decision_list_reader.h"
#include "event_list_reader.h"
#include "fuzz.h"
#include "kilter/edits/cuts.h"
#include "kilter/edits/decision_list.h"
#include "kilter/edits/event_list.h"
#include "kilter/edits/lineup_file.h"
#include "lineup_facts.h"

namespace kilter::fuzz {
namespace {

// A list of a longer session has more events than a try is worth.
constexpr double kLongest_s = 1e5;

bool is_short(const Lineup& lineup) {
  for (const LineupTrack& track : lineup.tracks) {
    if (!track.map) continue;
    const auto spans = track.map->spans();
    if (spans.back().to_s - spans.front().from_s > kLongest_s ||
        spans.back().line_to_s - spans.front().line_from_s > kLongest_s)
      return false;
  }
  return lineup.tracks.size() < 100;
}

void require_legal_lists(const Lineup& lineup) {
  edits::read_event_lists(edits::event_lists(lineup, {}), 25, false);
  const std::string list = edits::decision_list(lineup, {}, {"/shows", "2026-01-01T00:00:00Z"});
  edits::cuts_of(edits::read_decision_list(list));
  const auto cuts = edits::cuts_from_text(edits::cuts_text(lineup, {}), "cuts.tsv");
  require(static_cast<bool>(cuts), "our own table of cuts is read");
}

}  // namespace

void try_input(Input input) {
  const auto lineup = edits::lineup_from_text(std::string(input.rest()), "12.lineup.json");
  if (!lineup) {
    require(lineup.error().kind == ErrorKind::unreadable, "a wrong lineup is unreadable");
    require_clear(lineup.error());
    return;
  }
  const std::string text = edits::to_text(*lineup);
  const auto again = edits::lineup_from_text(text, "12.lineup.json");
  require(static_cast<bool>(again), "what we write we read");
  require(facts_of(*again) == facts_of(*lineup), "nothing is lost on the way");
  if (is_short(*lineup)) require_legal_lists(*lineup);
}

}  // namespace kilter::fuzz
