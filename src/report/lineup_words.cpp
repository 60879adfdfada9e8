#include "lineup_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "findings_text.h"
#include "kilter/base/clock_text.h"
#include "kilter/report/lineup_report.h"

namespace kilter::report {
namespace {

/// At which its samples were made, whatever its header says.
double recorded_rate_hz(const LineupTrack& track) {
  for (const Finding& finding : track.findings)
    if (finding.rate_hz) return *finding.rate_hz;
  return track.rate_hz;
}

double clock_drift_ppm(const LineupTrack& track, double drift_as_headed_ppm) {
  const double as_headed = 1.0 + drift_as_headed_ppm * 1e-6;
  const double drift_ppm = (as_headed * track.rate_hz / recorded_rate_hz(track) - 1.0) * 1e6;
  return std::abs(drift_ppm) < 0.005 ? 0.0 : drift_ppm;  // no "-0.00"
}

}  // namespace

double clock_drift_ppm(const LineupTrack& track) {
  return clock_drift_ppm(track, track.map->drift_ppm());
}

double clock_drift_ppm(const LineupTrack& track, const Span& span) {
  return clock_drift_ppm(track, (1.0 / span.rate() - 1.0) * 1e6);
}

std::string windows_text(const LineupTrack& track) {
  return track.windows_measured > 0
             ? fmt::format("{}/{}", track.windows_used, track.windows_measured)
             : "-";
}

std::string standing_text(const LineupTrack& track) {
  return !track.map && !is_a_persons(track) ? "left out" : to_text(track.standing);
}

std::string row_word(const LineupTrack& track) {
  if (track.role == Role::mix) return "mix copy";
  if (track.role == Role::ignore) return "ignored";
  if (recorded_rate_hz(track) != track.rate_hz)
    return fmt::format("{:g} Hz", recorded_rate_hz(track));
  const auto seams = std::count_if(track.findings.begin(), track.findings.end(),
                                   [](const Finding& finding) { return finding.code == "seam"; });
  if (seams > 0) return counted(static_cast<std::size_t>(seams), "seam");
  if (!track.voice.empty()) return "a take of " + track.voice;
  return track.inverted ? "inverted" : "";
}

std::vector<const LineupTrack*> with_standing(const Lineup& lineup, Standing standing) {
  std::vector<const LineupTrack*> tracks;
  for (const LineupTrack& track : lineup.tracks)
    if (is_a_persons(track) && track.standing == standing) tracks.push_back(&track);
  return tracks;
}

FirmTracks firm_tracks(const Lineup& lineup) {
  FirmTracks firm;
  for (const LineupTrack* track : with_standing(lineup, Standing::firm)) {
    // Of session.toml's starts, an order tells its place.
    const bool is_told =
        std::any_of(track->findings.begin(), track->findings.end(), [](const Finding& finding) {
          return finding.code == "overruled" || (finding.code == "told-start" && finding.line_s);
        });
    (is_told ? firm.as_told : firm.by_sound).push_back(track);
  }
  return firm;
}

std::string past_midnight_text(double past_s) {
  return "Timecode begins anew at midnight, and the lists end there: the last " +
         clock_text(past_s) +
         " stand in edits/cuts.tsv alone. Conform again with an earlier --start-tc.";
}

std::string why_missing(const conform::Stem& stem, const LineupTrack& track) {
  if (stem.failure) return stem.failure->what;
  if (std::any_of(track.findings.begin(), track.findings.end(),
                  [](const Finding& finding) { return finding.code == "unreadable"; }))
    return "it cannot be read";
  if (track.role == Role::ignore) return "it is left out as told";
  if (track.role == Role::mix) return "it holds the mix itself";
  return "it is not placed";
}

}  // namespace kilter::report
