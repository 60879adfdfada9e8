#include "kilter/report/survey_report.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "findings_text.h"
#include "kilter/base/clock_text.h"
#include "kilter/report/text_table.h"

namespace kilter::report {
namespace {

using intake::Levels;
using survey::Survey;
using survey::SurveyFile;
using survey::SurveyTrack;
using Json = nlohmann::ordered_json;

// ---- text

std::vector<Column> columns() {
  return {{"track", "", false, true},          {"ch", "", true, false},
          {"format", "", false, true},         {"rate", "kHz", true, false},
          {"length", "hh:mm:ss", true, false}, {"level", "dBFS", true, false},
          {"peak", "dBFS", true, false},       {"floor", "dBFS", true, false},
          {"note", "", false, false}};
}

std::string decibels(double db) { return std::isfinite(db) ? fmt::format("{:.1f}", db) : "-inf"; }

std::string kilohertz(SampleRate rate) { return fmt::format("{:g}", rate.hz / 1000.0); }

/// The loudest of the mix's channels stands for all of them.
std::optional<Levels> loudest(const std::vector<Levels>& channels) {
  const auto found = std::max_element(
      channels.begin(), channels.end(),
      [](const Levels& a, const Levels& b) { return a.level_dbfs < b.level_dbfs; });
  if (found == channels.end()) return std::nullopt;
  return *found;
}

std::string channel_text(const SurveyTrack& track, const SurveyFile& file) {
  std::string text = std::to_string(track.channel);
  for (const int other : track.same_channels) text += '+' + std::to_string(other);
  return file.info.channels > 1 ? fmt::format("{}/{}", text, file.info.channels) : text;
}

std::vector<std::string> row_of(const std::string& name, const std::string& channel,
                                const SurveyFile& file, const std::optional<Levels>& levels,
                                const std::string& note) {
  if (file.failure || !levels) return {name, channel, "unreadable", "-", "-", "-", "-", "-", note};
  return {name,
          channel,
          file.info.format,
          kilohertz(file.info.rate),
          clock_text(file.length_s()),
          decibels(levels->level_dbfs),
          decibels(levels->peak_dbfs),
          decibels(levels->floor_dbfs),
          note};
}

std::string heading(const Survey& survey) {
  std::string text = fmt::format("{}: {}, {}", survey.session, counted(survey.files.size(), "file"),
                                 counted(survey.tracks.size(), "track"));
  if (survey.mix)
    text += fmt::format("; the mix is \"{}\" ({})", survey.files[survey.mix->file].name,
                        survey.mix->found_by);
  return wrapped(printable(text), kTerminalColumns, 2) + "\n\n";
}

// ---- JSON

Json finite(double value) { return std::isfinite(value) ? Json(value) : Json(nullptr); }

Json list_of(const std::vector<Finding>& findings) {
  Json list = Json::array();
  for (const Finding& finding : findings) {
    Json object{{"code", finding.code}};
    if (finding.at_s) object["at_s"] = *finding.at_s;
    object["text"] = finding.text;
    list.push_back(std::move(object));
  }
  return list;
}

Json file_json(const SurveyFile& file) {
  Json object{{"file", file.name}};
  if (file.failure) {
    object["readable"] = false;
    return object;
  }
  object["readable"] = true;
  object["format"] = file.info.format;
  object["rate"] = file.info.rate.hz;
  object["channels"] = file.info.channels;
  object["frames"] = file.length.n;
  object["length_s"] = file.length_s();
  object["lossy"] = file.info.lossy;
  return object;
}

Json levels_json(const Levels& levels) {
  return {{"level_dbfs", finite(levels.level_dbfs)}, {"loudest_dbfs", finite(levels.loudest_dbfs)},
          {"floor_dbfs", finite(levels.floor_dbfs)}, {"peak_dbfs", finite(levels.peak_dbfs)},
          {"rms_dbfs", finite(levels.rms_dbfs)},     {"dc", levels.dc},
          {"clipped_places", levels.clipped_runs},   {"clipped_frames", levels.clipped_frames}};
}

Json track_json(const SurveyTrack& track, const Survey& survey) {
  Json object{{"name", track.name},
              {"file", survey.files[track.file].name},
              {"channel", track.channel},
              {"same_channels", track.same_channels}};
  object["levels"] = track.levels ? levels_json(*track.levels) : Json(nullptr);
  if (track.copy_of) object["copy_of"] = survey.tracks[*track.copy_of].name;
  if (track.role) object["role"] = to_text(*track.role);
  object["findings"] = list_of(track.findings);
  return object;
}

Json mix_json(const Survey& survey) {
  if (!survey.mix) return nullptr;
  Json levels = Json::array();
  for (const Levels& channel : survey.mix->levels) levels.push_back(levels_json(channel));
  return {{"file", survey.files[survey.mix->file].name},
          {"found_by", survey.mix->found_by},
          {"levels", std::move(levels)},
          {"findings", list_of(survey.mix->findings)}};
}

}  // namespace

std::string survey_text(const Survey& survey) {
  FindingList findings;
  std::vector<std::vector<std::string>> rows;
  if (survey.mix) {
    const SurveyFile& file = survey.files[survey.mix->file];
    const std::string channels =
        file.info.channels > 1 ? fmt::format("1-{}", file.info.channels) : std::string("1");
    rows.push_back(row_of(file.name, channels, file, loudest(survey.mix->levels),
                          note_of("mix", findings.add(file.name, survey.mix->findings))));
  }
  for (const SurveyTrack& track : survey.tracks) {
    const SurveyFile& file = survey.files[track.file];
    const std::string word = track.role == Role::ignore ? "ignored" : "";
    rows.push_back(row_of(track.name, channel_text(track, file), file, track.levels,
                          note_of(word, findings.add(track.name, track.findings))));
  }
  findings.add("", survey.findings);
  std::string text = heading(survey) + text_table(columns(), rows, kTerminalColumns);
  if (const std::string listed = findings.text(); !listed.empty()) text += '\n' + listed;
  return text;
}

std::string survey_json(const Survey& survey) {
  Json object{{"kind", "kilter survey"}, {"version", 1}, {"session", survey.session}};
  object["mix"] = mix_json(survey);
  object["files"] = Json::array();
  for (const SurveyFile& file : survey.files) object["files"].push_back(file_json(file));
  object["tracks"] = Json::array();
  for (const SurveyTrack& track : survey.tracks)
    object["tracks"].push_back(track_json(track, survey));
  object["findings"] = list_of(survey.findings);
  return object.dump(2, ' ', false, Json::error_handler_t::replace) + '\n';
}

}  // namespace kilter::report
