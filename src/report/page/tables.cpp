// The figures.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "kilter/base/clock_text.h"
#include "kilter/report/lineup_report.h"
#include "lineup_words.h"
#include "markup.h"
#include "parts.h"

namespace kilter::report {
namespace {

using Rows = std::vector<std::vector<std::string>>;

std::string files_of(const LineupTrack& track) {
  std::string html;
  for (const TrackPart& part : track.parts)
    html += (html.empty() ? "" : ", ") + name_html(part.file);
  if (!track.parts.empty() && track.parts.front().channel > 1)
    html += fmt::format(", channel {}", track.parts.front().channel);
  return html;
}

std::string per_hour(double drift_ppm) {
  const double ms = 3.6 * drift_ppm;
  if (std::abs(ms) < 0.05) return "keeps time";
  return fmt::format("{} {:.1f} ms an hour", ms > 0.0 ? "gains" : "loses", std::abs(ms));
}

/// Least and most of its spans; empty where it has one.
std::string wander(const LineupTrack& track) {
  const auto spans = track.map->spans();
  if (spans.size() < 2) return "steady";
  double least = clock_drift_ppm(track, spans.front());
  double most = least;
  for (const Span& span : spans) {
    if (span.to_s - span.from_s < 1.0) continue;  // too short for a rate to mean much
    least = std::min(least, clock_drift_ppm(track, span));
    most = std::max(most, clock_drift_ppm(track, span));
  }
  if (most - least < 0.005) return "steady";
  return fmt::format("{:+.2f} to {:+.2f}", least, most);
}

std::string decibels(double db) {
  return std::isfinite(db) ? fmt::format("{:.1f}", db) : "silence";
}

/// From the noise between the words over the level of speech to the peak, -80 to 0 dBFS.
std::string level_bar(const intake::Levels& levels) {
  const auto place = [](double db) {
    return std::isfinite(db) ? std::clamp((db + 80.0) / 80.0, 0.0, 1.0) * 100.0 : 0.0;
  };
  const double floor = place(levels.floor_dbfs);
  const double level = std::max(floor, place(levels.level_dbfs));
  const double peak = std::max(level, place(levels.peak_dbfs));
  return fmt::format(
      "<svg class=\"levelbar\" viewBox=\"0 0 100 10\" preserveAspectRatio=\"none\" "
      "aria-hidden=\"true\"><path class=\"rail\" d=\"M0 5H100\"/><path "
      "class=\"talk\" d=\"M{0} 2H{1}V8H{0}z\"/><path class=\"top\" d=\"M{1} "
      "4H{2}V6H{1}z\"/></svg>",
      short_number(floor, 1), short_number(level, 1), short_number(peak, 1));
}

/// `loud`: with a column for the loudness.
std::vector<std::string> level_row(const std::string& name, const HeardTrack& heard, double rate_hz,
                                   const std::string& links, bool loud) {
  if (!heard.levels) {
    std::vector<std::string> row{name, "", "not read"};
    row.insert(row.end(), loud ? 6 : 5, "-");
    row.push_back(links.empty() ? "-" : links);
    return row;
  }
  const intake::Levels& levels = *heard.levels;
  const std::string dropouts =
      levels.dropouts == 0 ? "-"
                           : fmt::format("{} ({:.1f} s)", levels.dropouts,
                                         static_cast<double>(levels.dropout_frames.n) / rate_hz);
  std::vector<std::string> row{name, level_bar(levels), decibels(levels.peak_dbfs)};
  if (loud) row.push_back(levels.loudness_lufs ? decibels(*levels.loudness_lufs) : "-");
  row.insert(row.end(), {decibels(levels.level_dbfs), decibels(levels.floor_dbfs),
                         fmt::format("{:.0f}", 100.0 * levels.talk_share),
                         levels.clipped_runs == 0 ? "-" : std::to_string(levels.clipped_runs),
                         dropouts, links.empty() ? "-" : links});
  return row;
}

std::string stem_note(const conform::Stem& stem, const LineupTrack& track) {
  if (stem.file.empty()) return escaped("none: " + why_missing(stem, track));
  return name_html(stem.file.generic_string());
}

std::string clipped_text(const conform::Stem& stem) {
  return stem.clipped_samples == 0 ? "-" : std::to_string(stem.clipped_samples);
}

std::string definition(const std::string& term, const std::string& html) {
  return "<dt>" + term + "</dt><dd>" + html + "</dd>\n";
}

}  // namespace

std::string placing_part(const PageParts& parts) {
  Rows rows;
  for (const LineupTrack& track : parts.page.lineup->tracks) {
    const std::string links = number_links(parts, &track);
    std::vector<std::string> row{name_html(track.name), standing_html(track)};
    if (track.map)
      for (const std::string& cell :
           {clock_text(track.map->start_s(), 6), fmt::format("{:+.2f}", clock_drift_ppm(track)),
            bound_text(track.uncertainty_us), windows_text(track),
            std::to_string(runs_of({track.map->spans().begin(), track.map->spans().end()}).size())})
        row.push_back(escaped(cell));
    else
      row.insert(row.end(), 5, "-");
    row.push_back(track.recorder.empty() ? "-" : name_html(track.recorder));
    row.push_back(std::string(to_text(track.role)) + (track.inverted ? ", inverted" : ""));
    row.push_back(fmt::format("{:g}", track.rate_hz));
    row.push_back(files_of(track));
    row.push_back(links.empty() ? "-" : links);
    rows.push_back(std::move(row));
  }
  return section(
      "placing", "Where every track lies",
      "<p>Start: where the track's first sample lies on the timeline; with a minus, it was "
      "recording before that began. Bound: 95 %, worst over the track.</p>\n" +
          table("Every track's place",
                {"track", "standing", "start <small>hh:mm:ss</small>", "drift <small>ppm</small>",
                 "bound <small>&plusmn;µs</small>", "windows <small>used/of</small>", "pieces",
                 "clock", "role", "rate <small>Hz</small>", "file", "findings"},
                rows));
}

std::string clocks_part(const PageParts& parts) {
  std::map<std::string, std::vector<const LineupTrack*>> clocks;
  for (const LineupTrack& track : parts.page.lineup->tracks)
    if (track.is_used()) clocks[track.recorder].push_back(&track);
  if (clocks.empty()) return "";
  Rows rows;
  for (const auto& [recorder, tracks] : clocks)
    for (const LineupTrack* track : tracks)
      rows.push_back({recorder.empty() ? "-" : name_html(recorder), name_html(track->name),
                      fmt::format("{:+.2f}", clock_drift_ppm(*track)),
                      per_hour(clock_drift_ppm(*track)), escaped(wander(*track))});
  return section("clocks", "How fast the clocks ran",
                 "<p>Against the timeline. Uncorrected, a track would be so much out of step after "
                 "an hour; its stem is not.</p>\n" +
                     table("Every recorder's clock",
                           {"clock", "track", "drift <small>ppm</small>", "which means",
                            "over the session <small>ppm</small>"},
                           rows));
}

std::string levels_part(const PageParts& parts) {
  const Heard* heard = parts.page.heard;
  if (heard == nullptr)
    return section("levels", "Levels",
                   "<p class=\"unmeasured\">Not measured: the lineup was given. Conform without "
                   "--lineup, or <code>kilter survey</code>, tells them.</p>\n");
  const Lineup& lineup = *parts.page.lineup;
  const bool loud = std::any_of(heard->tracks.begin(), heard->tracks.end(), [](const auto& track) {
    return track.levels && track.levels->loudness_lufs;
  });
  Rows rows;
  if (lineup.mix)
    rows.push_back(level_row(name_html(lineup.mix->file), heard->mix, lineup.mix->rate_hz,
                             number_links(parts, nullptr), loud));
  for (std::size_t i = 0; i < lineup.tracks.size(); ++i)
    rows.push_back(level_row(name_html(lineup.tracks[i].name), heard->tracks[i],
                             lineup.tracks[i].rate_hz, number_links(parts, &lineup.tracks[i]),
                             loud));
  std::vector<std::string> head{"track", "-80 to 0", "peak <small>dBFS</small>"};
  if (loud) head.emplace_back("loudness <small>LUFS</small>");
  head.insert(head.end(), {"speech <small>dBFS</small>", "between words <small>dBFS</small>",
                           "talk <small>%</small>", "clipped places", "dropouts", "findings"});
  return section(
      "levels", "Levels as recorded",
      "<p>Speech: 95 % of the 50 ms stretches are quieter. Between words: 10 % are. The bar runs "
      "from -80 to 0 dBFS: broad from the noise between words to speech, narrow up to the "
      "peak.</p>\n" +
          table("Levels of every track", head, rows));
}

std::string stems_part(const PageParts& parts) {
  if (parts.page.stems == nullptr) return "";
  const conform::ConformReport& stems = *parts.page.stems;
  Rows rows;
  for (std::size_t i = 0; i < stems.stems.size(); ++i)
    rows.push_back({name_html(stems.stems[i].track),
                    stem_note(stems.stems[i], parts.page.lineup->tracks[i]),
                    clipped_text(stems.stems[i])});
  if (stems.mix) {
    const std::string file = stems.mix->file.empty() ? escaped("none: " + stems.mix->failure->what)
                                                     : name_html(stems.mix->file.generic_string());
    rows.push_back({name_html(stems.mix->track), file, clipped_text(*stems.mix)});
  }
  const double length_s = stems.length_s();
  return section(
      "stems", "Stems",
      fmt::format("<p>Each starts at {} of the timeline and lasts {}: {} frames at {:g} Hz, {}. "
                  "Their timecode begins at {}, {} frames a second.</p>\n",
                  clock_text(stems.from_s), clock_text(length_s), stems.frames, stems.rate_hz,
                  escaped(parts.page.sample_format),
                  edits::timecode_text(parts.page.record.start_frame, parts.page.record.rate),
                  edits::to_text(parts.page.record.rate)) +
          table("Every stem", {"track", "file in stems/", "samples cut off at full scale"}, rows) +
          "<p>What they hold is not measured here: <code>kilter check</code> measures the finished "
          "stems afresh.</p>\n");
}

std::string record_part(const PageParts& parts) {
  const Lineup& lineup = *parts.page.lineup;
  std::string list = definition("session", name_html(lineup.session));
  if (lineup.mix)
    list += definition(
        "mix", name_html(lineup.mix->file) +
                   fmt::format(", {} frames at {:g} Hz", lineup.mix->frames, lineup.mix->rate_hz));
  list += definition(
      "timeline",
      fmt::format("{} to {}, on the clock of ", clock_text(lineup.from_s, 6),
                  clock_text(lineup.to_s, 6)) +
          (lineup.timeline_clock == "mix" ? "the mix" : name_html(lineup.timeline_clock)));
  if (lineup.mix && lineup.timeline_clock != "mix")
    list += definition("times",
                       "those in the sentences of findings are the mix's; drawings and "
                       "tables have the timeline's");
  list += definition("limit", fmt::format("{:g} ms", parts.page.limit_ms));
  list += definition("measured", parts.page.heard == nullptr
                                     ? "nothing: the lineup was given"
                                     : "the sound of every file, for this page");
  list += definition("made by", escaped(parts.page.version));
  list +=
      definition("command", "<code>" + escaped(parts.page.command) +
                                "</code>, and where to: whatever changes no result is left out");
  return section("record", "For the record", "<dl>\n" + list + "</dl>\n");
}

}  // namespace kilter::report
