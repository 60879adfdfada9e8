// Edit lists of any session: legal by a strict reader that knows nothing of their writer, and every
// sound once and in its place, wherever clocks are as clocks are.
#include <array>
#include <cmath>

#include "decision_list_reader.h"
#include "event_list_reader.h"
#include "fuzz.h"
#include "kilter/edits/cuts.h"
#include "kilter/edits/decision_list.h"
#include "kilter/edits/event_list.h"

namespace kilter::fuzz {
namespace {

constexpr std::array kRates{44100.0, 48000.0, 96000.0};

/// Clocks as they are, all of it within an hour of the timeline's start: sound has its place.
std::vector<Span> plain_spans(Input& input, double length_s) {
  std::vector<Span> spans;
  double track_s = input.flag() ? input.number(0.0, 0.2 * length_s) : 0.0;
  double line_s = input.number(-30.0, 100.0);
  const double drift = input.flag() ? input.number(-300e-6, 300e-6) : 0.0;
  for (int most = input.whole(1, 8); most > 0 && track_s < length_s; --most) {
    const double wander = input.flag() ? input.number(-20e-6, 20e-6) : 0.0;
    const double span_s = std::min(input.number(0.5, 0.6 * length_s + 0.5), length_s - track_s);
    const double line_span_s = span_s / (1.0 + drift + wander);
    if (span_s > 1e-3)
      spans.push_back({track_s, track_s + span_s, line_s, line_s + line_span_s, 10.0});
    track_s += span_s + (input.flag() ? input.number(0.0, 2.0) : 0.0);
    line_s += line_span_s + (input.flag() ? input.number(0.0, 3.0) : 0.0);
  }
  return spans;
}

/// Clocks as no clock is, places far away, files that end before their map does.
std::vector<Span> wild_spans(Input& input) {
  std::vector<Span> spans;
  double track_s = input.flag() ? input.number(-10.0, 1000.0) : input.any_number();
  double line_s = input.flag() ? input.number(-1e5, 1e5) : input.any_number();
  for (int count = input.whole(1, 6); count > 0; --count) {
    const double length_s = input.number(1e-6, 1000.0);
    const double line_length_s = length_s * input.number(0.5, 2.0);
    spans.push_back({track_s, track_s + length_s, line_s, line_s + line_length_s, 10.0});
    track_s = spans.back().to_s + (input.flag() ? input.number(0.0, 10.0) : 0.0);
    line_s = spans.back().line_to_s + (input.flag() ? input.number(0.0, 10.0) : 0.0);
  }
  return spans;
}

/// No name holds a zero byte.
std::string name_from(Input& input, std::size_t most) {
  std::string name = input.text(most);
  std::erase(name, '\0');
  return name;
}

LineupTrack track_from(Input& input, int number, bool is_wild) {
  LineupTrack track;
  track.name = name_from(input, 20) + std::to_string(number);
  track.rate_hz = input.one_of(kRates);
  for (int part = input.whole(0, 2); part >= 0; --part)
    track.parts.push_back({"rec" + std::to_string(number) + 'p' + std::to_string(part) +
                               name_from(input, 20) + ".wav",
                           input.whole(1, 4),
                           static_cast<std::int64_t>(input.number(1.0, 200.0) * track.rate_hz)});
  track.role = input.whole(0, 9) == 0 ? Role::ignore : Role::room;
  track.recorder = "A";
  track.inverted = input.flag();
  const double length_s = static_cast<double>(track.frames()) / track.rate_hz;
  auto map = TimeMap::make(is_wild ? wild_spans(input) : plain_spans(input, length_s));
  if (!map) return track;
  track.map = *std::move(map);
  track.standing = input.flag() ? Standing::shaky : Standing::firm;
  return track;
}

Lineup lineup_from(Input& input, bool is_wild) {
  Lineup lineup;
  lineup.session = name_from(input, 40);
  lineup.timeline_rate_hz = is_wild && input.flag() ? 32000.0 : input.one_of(kRates);
  lineup.to_s = lineup.from_s + 400.0;
  for (int i = input.whole(0, 3); i >= 0; --i)
    lineup.tracks.push_back(track_from(input, i, is_wild));
  return lineup;
}

edits::RecordTime record_from(Input& input, bool is_wild) {
  const auto names = edits::frame_rate_names();
  edits::RecordTime record{edits::frame_rate_from_text(input.one_of(names)).value(), 0,
                           input.number(-3.0, 3.0)};
  record.start_frame = *edits::frame_of_timecode("01:00:00:00", record.rate);
  if (is_wild)
    record.start_frame = input.whole(0, static_cast<int>(record.rate.frames_per_day() - 1));
  return record;
}

/// Files with timecode and picture of their own, and each track's own lists.
void try_facts(Input& input, const Lineup& lineup, const edits::RecordTime& record) {
  const auto at = static_cast<std::int64_t>(input.number(0.0, 48.0 * 3600.0 * 96000.0));
  const edits::SourceFacts facts{input.flag() ? at : 0, input.flag()};
  const edits::SourceFactsOf facts_of = [&](const TrackPart&) { return facts; };
  edits::read_event_lists(edits::event_lists(lineup, record, facts_of), record.rate.nominal,
                          record.rate.drop_frame);
  for (const LineupTrack* track : edits::used_tracks(lineup))
    edits::read_event_lists(edits::track_event_lists(lineup, *track, record, facts_of),
                            record.rate.nominal, record.rate.drop_frame);
}

void try_stems(Input& input, const Lineup& lineup, const edits::RecordTime& record,
               const edits::DecisionListHead& head) {
  edits::StemSet stems;
  for (const LineupTrack& track : lineup.tracks) stems.stems.push_back({track.name, track.name});
  stems.rate_hz = input.one_of(kRates);
  stems.frames = static_cast<std::int64_t>(input.number(0.0, 1e8));
  edits::read_event_lists(edits::stem_event_lists(lineup, stems, record), record.rate.nominal,
                          record.rate.drop_frame);
  const std::string list = edits::stem_decision_list(lineup, stems, record, head);
  if (!list.empty()) edits::cuts_of(edits::read_decision_list(list));
}

}  // namespace

void try_input(Input input) {
  const bool is_wild = input.flag();
  const edits::RecordTime record = record_from(input, is_wild);
  const edits::DecisionListHead head{"/shows/" + name_from(input, 20), "2026-01-01T00:00:00Z"};
  const Lineup lineup = lineup_from(input, is_wild);

  const auto events = edits::read_event_lists(edits::event_lists(lineup, record),
                                              record.rate.nominal, record.rate.drop_frame);
  const auto sections = edits::read_decision_list(edits::decision_list(lineup, record, head));
  edits::cuts_of(sections);
  const auto cuts = edits::cuts_from_text(edits::cuts_text(lineup, record), "cuts.tsv");
  require(static_cast<bool>(cuts), "our own table of cuts is read");
  try_stems(input, lineup, record, head);
  try_facts(input, lineup, record);
  if (is_wild) return;

  edits::check_no_overlap(events);
  edits::check_event_places(events, lineup, record, input.byte());
  edits::check_cut_places(sections, lineup, record, input.byte());
  const auto same = edits::overruled(lineup, *cuts);
  require(static_cast<bool>(same), "the table of cuts is the lineup's");
  for (std::size_t i = 0; i < lineup.tracks.size(); ++i)
    require(same->tracks[i].findings.empty(), "and changes nothing of it");
}

}  // namespace kilter::fuzz
