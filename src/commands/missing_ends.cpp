#include "missing_ends.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <string_view>
#include <vector>

#include "kilter/base/clock_text.h"
#include "kilter/base/quoted_names.h"
#include "kilter/report/lineup_report.h"

namespace kilter::commands {
namespace {

constexpr double kLeast_s = 10.0;  // less may be how its person pressed the buttons
constexpr double kTogether_s = 1e-3;
constexpr double kSameDrift_ppm = 1.0;
constexpr double kTakesOver_s = 5.0;

double from_s(const LineupTrack& track) { return track.map->spans().front().line_from_s; }
double to_s(const LineupTrack& track) { return track.map->spans().back().line_to_s; }

bool is_told(const LineupTrack& track, std::string_view code) {
  return std::any_of(track.findings.begin(), track.findings.end(),
                     [&](const Finding& finding) { return finding.code == code; });
}

/// Whether its ends are its person's: those of a copy say nothing.
bool is_sure(const LineupTrack& track) {
  return report::is_a_persons(track) && track.map && track.standing == Standing::firm &&
         !is_told(track, "duplicate");
}

std::string names_of(const std::vector<const LineupTrack*>& tracks) {
  std::vector<std::string> names;
  for (const LineupTrack* track : tracks) names.push_back(track->name);
  return quoted_names(names);
}

/// Whether another file holds what comes after this one's end, or before its beginning: the same
/// person's next, or one of that recorder's.
bool is_taken_over(const Lineup& lineup, const LineupTrack& track, bool at_end) {
  return std::any_of(lineup.tracks.begin(), lineup.tracks.end(), [&](const LineupTrack& other) {
    if (&other == &track || !other.map || !report::is_a_persons(other)) return false;
    if (!track.voice.empty() && other.voice == track.voice) return true;
    return std::abs(at_end ? from_s(other) - to_s(track) : to_s(other) - from_s(track)) <
           kTakesOver_s;
  });
}

/// Those of its recorder that began with it; none where one of them ended as early.
std::vector<const LineupTrack*> longer_siblings(const Lineup& lineup, const LineupTrack& track) {
  std::vector<const LineupTrack*> longer;
  for (const LineupTrack& other : lineup.tracks) {
    if (&other == &track || !is_sure(other) || other.recorder.empty() ||
        other.recorder != track.recorder || std::abs(from_s(other) - from_s(track)) > kTogether_s)
      continue;
    if (to_s(other) - to_s(track) < kLeast_s) return {};
    longer.push_back(&other);
  }
  return longer;
}

/// Those of a recorder, two at least, that end with it and drift alike; none where one of them
/// starts as late. A single file may end with it by chance.
std::vector<const LineupTrack*> earlier_siblings(const Lineup& lineup, const LineupTrack& track) {
  std::vector<const LineupTrack*> earlier;
  for (const LineupTrack& other : lineup.tracks) {
    if (&other == &track || !is_sure(other) || other.recorder.empty() ||
        std::abs(to_s(other) - to_s(track)) > kTogether_s ||
        std::abs(other.map->drift_ppm() - track.map->drift_ppm()) > kSameDrift_ppm)
      continue;
    if (from_s(track) - from_s(other) < kLeast_s) return {};
    if (!earlier.empty() && other.recorder != earlier.front()->recorder) return {};
    earlier.push_back(&other);
  }
  return earlier.size() < 2 ? std::vector<const LineupTrack*>{} : earlier;
}

Finding ends_early(const LineupTrack& track, const std::vector<const LineupTrack*>& siblings) {
  Finding finding;
  finding.code = "ends-early";
  finding.line_s = to_s(track);
  finding.stretches = {{to_s(track), to_s(*siblings.front())}};
  finding.text = fmt::format(
      "Ends at {} of the timeline, where {} of its recorder, which began with it, {} on to {}: "
      "what its person said in between is in others' microphones at most. Ask for the rest, or for "
      "another recording.",
      clock_text(to_s(track)), names_of(siblings), siblings.size() == 1 ? "goes" : "go",
      clock_text(to_s(*siblings.front())));
  return finding;
}

Finding starts_late(const LineupTrack& track, const std::vector<const LineupTrack*>& siblings) {
  Finding finding;
  finding.code = "starts-late";
  finding.line_s = from_s(track);
  finding.stretches = {{from_s(*siblings.front()), from_s(track)}};
  finding.text = fmt::format(
      "Starts at {} of the timeline, though it ends and runs with {}, which started at {}: what "
      "its person said in between is in others' microphones at most. Ask for the beginning, or for "
      "another recording.",
      clock_text(from_s(track)), names_of(siblings), clock_text(from_s(*siblings.front())));
  return finding;
}

}  // namespace

void tell_missing_ends(Lineup& lineup) {
  std::vector<std::pair<std::size_t, Finding>> told;
  for (std::size_t i = 0; i < lineup.tracks.size(); ++i) {
    const LineupTrack& track = lineup.tracks[i];
    if (!is_sure(track) || is_told(track, "truncated")) continue;
    const auto longer = longer_siblings(lineup, track);
    if (!longer.empty() && !is_taken_over(lineup, track, true))
      told.emplace_back(i, ends_early(track, longer));
    const auto earlier = earlier_siblings(lineup, track);
    if (!earlier.empty() && !is_taken_over(lineup, track, false))
      told.emplace_back(i, starts_late(track, earlier));
  }
  for (auto& [track, finding] : told) lineup.tracks[track].findings.push_back(std::move(finding));
}

}  // namespace kilter::commands
