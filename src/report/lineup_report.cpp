#include "kilter/report/lineup_report.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <set>

#include "findings_text.h"
#include "kilter/base/clock_text.h"
#include "kilter/base/utf8.h"
#include "kilter/edits/lineup_file.h"
#include "kilter/report/finding_words.h"
#include "kilter/report/text_table.h"
#include "lineup_words.h"

namespace kilter::report {
namespace {

using Json = nlohmann::ordered_json;

constexpr int kStartDecimals = 6;

std::string heading(const Lineup& lineup) {
  std::string text = lineup.session + ": " + counted(lineup.tracks.size(), "track");
  text += lineup.mix ? fmt::format(" in \"{}\"", lineup.mix->file)
                     : fmt::format(" on the clock of \"{}\"", lineup.timeline_clock);
  text += fmt::format(" ({}, {:g} Hz)", clock_text(lineup.to_s - lineup.from_s),
                      lineup.timeline_rate_hz);
  return wrapped(printable(text), kTerminalColumns, 2) + "\n\n";
}

std::vector<std::string> row_of(const LineupTrack& track, std::string note) {
  const std::string standing = standing_text(track);
  if (!track.map) return {track.name, standing, "-", "-", "-", "-", "-", std::move(note)};
  return {track.name,
          standing,
          clock_text(track.map->start_s(), kStartDecimals),
          fmt::format("{:+.2f}", clock_drift_ppm(track)),
          bound_text(track.uncertainty_us),
          windows_text(track),
          track.recorder.empty() ? "-" : track.recorder,
          std::move(note)};
}

std::vector<const LineupTrack*> with_role(const Lineup& lineup, Role role) {
  std::vector<const LineupTrack*> tracks;
  for (const LineupTrack& track : lineup.tracks)
    if (track.role == role) tracks.push_back(&track);
  return tracks;
}

std::string names_of(const std::vector<const LineupTrack*>& tracks) {
  std::string names;
  for (const LineupTrack* track : tracks) names += (names.empty() ? "" : ", ") + track->name;
  return names;
}

/// Which files were taken for one: once for all channels of a recorder's.
std::string joined_takes(const Lineup& lineup) {
  std::set<std::string> told;
  std::string text;
  for (const LineupTrack& track : lineup.tracks) {
    if (track.parts.size() < 2 || !told.insert(track.parts.front().file).second) continue;
    std::string list;
    for (const TrackPart& part : track.parts) list += (list.empty() ? "" : ", ") + part.file;
    text +=
        wrapped(printable("One take in several files: " + list + '.'), kTerminalColumns, 2) + '\n';
  }
  return text;
}

std::string summary(const Lineup& lineup) {
  const auto [firm, put] = firm_tracks(lineup);
  double widest_us = 0.0;
  for (const LineupTrack* track : firm) widest_us = std::max(widest_us, track->uncertainty_us);
  const auto copies = with_role(lineup, Role::mix);
  const auto ignored = with_role(lineup, Role::ignore);
  const std::size_t all = lineup.tracks.size() - copies.size() - ignored.size();
  std::string text = firm.size() == all && all == 1 ? "The track is firm"
                     : firm.size() == all
                         ? fmt::format("All {} tracks are firm", all)
                         : fmt::format("{} of {} firm", firm.size(), counted(all, "track"));
  if (widest_us > 0.0) text += fmt::format(", placed to {:.1f} us or better", widest_us);
  if (!put.empty()) text += fmt::format("; {} where you put it ({})", put.size(), names_of(put));
  for (const Standing standing : {Standing::shaky, Standing::unplaced})
    if (const auto rest = with_standing(lineup, standing); !rest.empty())
      text += fmt::format("; {} {} ({})", rest.size(), to_text(standing), names_of(rest));
  if (!copies.empty())
    text += fmt::format("; {} of the mix ({})", copies.size() == 1 ? "a copy" : "copies",
                        names_of(copies));
  if (!ignored.empty()) text += fmt::format("; left out as told: {}", names_of(ignored));
  return wrapped(printable(text + '.'), kTerminalColumns, 0) + '\n';
}

std::string paragraph(const std::string& text) {
  return wrapped(printable(text), kTerminalColumns, 2) + '\n';
}

std::string cut_off(const conform::Stem& stem) {
  return paragraph(fmt::format(
      "{}: {} cut off at full scale in its stem; --bits 32f keeps what is louder.", stem.track,
      stem.clipped_samples == 1 ? "1 sample was"
                                : fmt::format("{} samples were", stem.clipped_samples)));
}

}  // namespace

bool is_a_persons(const LineupTrack& track) {
  return track.role != Role::mix && track.role != Role::ignore;
}

std::string lineup_text(const Lineup& lineup, int columns) {
  std::vector<Finding> of_session = lineup.findings;
  const auto rest = std::stable_partition(of_session.begin(), of_session.end(), is_foremost);
  FindingList findings;
  findings.add("", {of_session.begin(), rest});
  std::vector<std::vector<std::string>> rows;
  for (const LineupTrack& track : lineup.tracks)
    rows.push_back(row_of(
        track, note_of(row_word(track),
                       findings.add(track.name, track.findings, map_for_words(track, lineup)))));
  if (lineup.mix) findings.add(lineup.mix->file, lineup.mix->findings, nullptr, kMix);
  findings.add("", {rest, of_session.end()});
  const std::vector<Column> titles{{"track", "", false, TooWide::cut},
                                   {"standing", ""},
                                   {"start", "hh:mm:ss", true},
                                   {"drift", "ppm", true},
                                   {"+-", "us", true},
                                   {"windows", "used/of", true},
                                   {"clock", ""},
                                   {"note", ""}};
  std::string text = heading(lineup) + text_table(titles, rows, columns) + '\n' +
                     joined_takes(lineup) + summary(lineup);
  if (const std::string listed = findings.text(); !listed.empty()) text += '\n' + listed;
  return text;
}

std::string conform_text(const conform::ConformReport& report, const Lineup& lineup,
                         const WrittenLists& lists, const std::filesystem::path& out,
                         const std::string& sample_format) {
  std::set<std::filesystem::path> written;  // takes of one voice share a file
  std::string notes;
  for (std::size_t i = 0; i < report.stems.size(); ++i) {
    const conform::Stem& stem = report.stems[i];
    if (stem.file.empty())
      notes += paragraph(
          fmt::format("No stem of {}: {}.", stem.track, why_missing(stem, lineup.tracks[i])));
    else
      written.insert(stem.file);
    if (stem.clipped_samples > 0) notes += cut_off(stem);
  }
  if (report.mix && report.mix->file.empty())
    notes += paragraph("No stem of the mix: " + report.mix->failure->what + '.');
  if (report.mix && report.mix->clipped_samples > 0) notes += cut_off(*report.mix);
  const double past_s = edits::past_midnight_s(lists.record, report.length_s());
  if (past_s > 0.0) notes += paragraph(past_midnight_text(past_s));
  const auto place = [&](const char* name) { return printable((out / name).string()); };
  const bool has_mix = report.mix && !report.mix->file.empty();
  return fmt::format("Stems   {}: {}{}, each {} ({} frames at {:g} Hz, {})\n", place("stems"),
                     counted(written.size(), "file"), has_mix ? " and the mix" : "",
                     clock_text(report.length_s()), report.frames, report.rate_hz, sample_format) +
         "Cuts    " + place("edits/cuts.tsv") + '\n' +
         fmt::format("Lists   {}: {} (SMPTE 258M, AES31-3), {} at {} fps\n", place("edits"),
                     counted(lists.files.size() - 1, "more file"),
                     edits::timecode_text(lists.record.start_frame, lists.record.rate),
                     edits::to_text(lists.record.rate)) +
         (report.clips
              ? "Listen  " + place("listen") + ": " + counted(report.clips->clips.size(), "clip") +
                    ", mix left, stem right\n"
              : "") +
         "Lineup  " + place("lineup.json") + "\nReport  " + place("report.html") + '\n' + notes;
}

std::string conform_json(const conform::ConformReport& report, const Lineup& lineup,
                         const WrittenLists& lists, const std::filesystem::path& out) {
  Json object{{"kind", "kilter conform"}, {"version", 1},
              {"out", out.string()},      {"rate", report.rate_hz},
              {"from_s", report.from_s},  {"frames", report.frames}};
  object["stems"] = Json::array();
  for (std::size_t i = 0; i < report.stems.size(); ++i) {
    const conform::Stem& stem = report.stems[i];
    Json row{{"track", stem.track}};
    row["file"] = stem.file.empty() ? Json(nullptr) : Json("stems/" + stem.file.generic_string());
    if (stem.file.empty()) row["reason"] = why_missing(stem, lineup.tracks[i]);
    if (stem.failure) row["failure"] = stem.failure->what;
    row["clipped_samples"] = stem.clipped_samples;
    object["stems"].push_back(std::move(row));
  }
  if (report.mix) {
    Json row{{"track", as_utf8(report.mix->track)}};
    row["file"] = report.mix->file.empty() ? Json(nullptr)
                                           : Json("stems/" + report.mix->file.generic_string());
    if (report.mix->failure) row["failure"] = report.mix->failure->what;
    row["clipped_samples"] = report.mix->clipped_samples;
    object["mix"] = std::move(row);
  }
  if (report.clips) {
    object["clips"] = Json::array();
    for (const conform::Clip& clip : report.clips->clips)
      object["clips"].push_back({{"track", report.stems[clip.track].track},
                                 {"file", "listen/" + clip.file.generic_string()},
                                 {"listen_for", clip.words},
                                 {"line_s", clip.at_s},
                                 {"from_s", clip.from_s},
                                 {"length_s", clip.length_s}});
  }
  object["fps"] = edits::to_text(lists.record.rate);
  object["start_tc"] = edits::timecode_text(lists.record.start_frame, lists.record.rate);
  object["edits"] = Json::array();
  for (const std::filesystem::path& file : lists.files)
    object["edits"].push_back("edits/" + file.generic_string());
  object["report"] = "report.html";
  object["lineup"] = Json::parse(edits::to_text(lineup));
  return with_controls_escaped(object.dump(2, ' ', false, Json::error_handler_t::replace)) + '\n';
}

}  // namespace kilter::report
