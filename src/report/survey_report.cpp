#include "kilter/report/survey_report.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "findings_text.h"
#include "kilter/base/clock_text.h"
#include "kilter/base/decibels.h"
#include "kilter/base/utf8.h"
#include "kilter/report/text_table.h"

namespace kilter::report {
namespace {

using intake::Levels;
using survey::Survey;
using survey::SurveyFile;
using survey::SurveyTrack;
using Json = nlohmann::ordered_json;

// ---- text

std::vector<Column> titles() {
  return {{"track", "", false, TooWide::cut},
          {"ch", "", true},
          {"format", "", false, TooWide::cut},
          {"rate", "kHz", true},
          {"length", "hh:mm:ss", true},
          {"loud", "LUFS", true},
          {"peak", "dBFS", true},
          {"floor", "dBFS", true},
          {"talk", "%", true},
          {"note", ""}};
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

struct Row {
  std::string name;
  std::string channel;
  std::optional<Levels> levels;
  std::optional<double> loudness_lufs;
  std::string note;
};

std::vector<std::string> cells_of(const Row& row, const SurveyFile& file) {
  const bool is_read = !file.failure && row.levels;
  std::vector<std::string> cells{row.name, row.channel, is_read ? file.info.format : "unreadable",
                                 is_read ? kilohertz(file.info.rate) : "-"};
  cells.push_back(is_read ? clock_text(file.length_s(), 0) : "-");
  cells.push_back(is_read && row.loudness_lufs ? decibels(*row.loudness_lufs) : "-");
  cells.push_back(is_read ? decibels(row.levels->peak_dbfs) : "-");
  cells.push_back(is_read ? decibels(row.levels->floor_dbfs) : "-");
  cells.push_back(is_read ? fmt::format("{:.0f}", 100.0 * row.levels->talk_share) : "-");
  cells.push_back(row.note);
  return cells;
}

/// Of channels that play together, as BS.1770 adds them up, but for its gate.
std::optional<double> loudness_of(const std::vector<Levels>& channels) {
  double power = 0.0;
  for (const Levels& levels : channels)
    if (levels.loudness_lufs) power += db_to_power(*levels.loudness_lufs);
  if (power <= 0.0) return std::nullopt;
  return power_to_db(power);
}

/// Which files were taken for one.
std::string joined_takes(const Survey& survey) {
  std::string text;
  for (const SurveyFile& file : survey.files) {
    if (file.parts.size() < 2) continue;
    std::string list;
    for (const survey::SurveyPart& part : file.parts)
      list += (list.empty() ? "" : ", ") + part.name;
    text +=
        '\n' + wrapped(printable("One take in several files: " + list + '.'), kTerminalColumns, 2);
  }
  return text.empty() ? text : text + '\n';
}

/// Which were not, though their names count on.
std::string separate_takes(const Survey& survey) {
  std::string list;
  for (const session::NumberedPair& pair : survey.not_joined)
    if (!pair.may_be_mics) list += (list.empty() ? "" : "; ") + pair.first + " and " + pair.second;
  if (list.empty()) return "";
  return '\n' +
         wrapped(printable("Numbered in a row, but the sound does not show that one goes on in the "
                           "next: " +
                           list +
                           ". Where they turn out to lie end to end, align and conform join them; "
                           "or list them as parts of one take in session.toml."),
                 kTerminalColumns, 2) +
         '\n';
}

/// When the recorders say that they began, where any does.
std::string stamps(const Survey& survey) {
  std::string list;
  for (const SurveyFile& file : survey.files)
    if (file.stamp)
      list += (list.empty() ? "" : ", ") + file.name + ' ' + clock_text(file.stamp->of_day_s(), 0);
  if (list.empty()) return "";
  return '\n' +
         wrapped(printable("By their time stamps they start at: " + list + '.'), kTerminalColumns,
                 2) +
         '\n';
}

std::string row_word(const SurveyTrack& track) {
  return track.role == Role::ignore ? "ignored" : "";
}

/// Takes count with all their files.
std::size_t files_in(const Survey& survey) {
  std::size_t sum = 0;
  for (const SurveyFile& file : survey.files) sum += std::max<std::size_t>(1, file.parts.size());
  return sum;
}

std::string heading(const Survey& survey) {
  std::string text = fmt::format("{}: {}, {}", survey.session, counted(files_in(survey), "file"),
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
  if (file.parts.size() > 1) {
    object["parts"] = Json::array();
    for (const survey::SurveyPart& part : file.parts)
      object["parts"].push_back({{"file", part.name}, {"frames", part.length.n}});
  }
  if (file.stamp) {
    object["stamp_s"] = file.stamp->of_day_s();
    if (!file.stamp->date.empty()) object["stamp_date"] = file.stamp->date;
  }
  if (file.info.has_lead_in) object["lead_in_unstated"] = true;
  if (!file.info.has_video) return object;
  object["start_in_file_s"] = file.info.start_in_file_s;
  if (file.info.video_fps) object["video_fps"] = *file.info.video_fps;
  return object;
}

Json levels_json(const Levels& levels) {
  return {{"loudness_lufs", levels.loudness_lufs ? Json(*levels.loudness_lufs) : Json(nullptr)},
          {"talk_share", levels.talk_share},
          {"level_dbfs", finite(levels.level_dbfs)},
          {"loudest_dbfs", finite(levels.loudest_dbfs)},
          {"floor_dbfs", finite(levels.floor_dbfs)},
          {"peak_dbfs", finite(levels.peak_dbfs)},
          {"rms_dbfs", finite(levels.rms_dbfs)},
          {"dc", levels.dc},
          {"clipped_places", levels.clipped_runs},
          {"clipped_frames", levels.clipped_frames},
          {"dropouts", levels.dropouts},
          {"dropout_frames", levels.dropout_frames.n}};
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

std::string survey_text(const Survey& survey, int columns) {
  std::vector<Finding> of_session = survey.findings;
  const auto rest = std::stable_partition(of_session.begin(), of_session.end(), is_foremost);
  FindingList findings;
  findings.add("", {of_session.begin(), rest});
  std::vector<std::vector<std::string>> rows;
  if (survey.mix) {
    const SurveyFile& file = survey.files[survey.mix->file];
    const std::string channels =
        file.info.channels > 1 ? fmt::format("1-{}", file.info.channels) : std::string("1");
    rows.push_back(
        cells_of({file.name, channels, loudest(survey.mix->levels), loudness_of(survey.mix->levels),
                  note_of("mix", findings.add(file.name, survey.mix->findings, nullptr, kMix))},
                 file));
  }
  for (const SurveyTrack& track : survey.tracks) {
    const SurveyFile& file = survey.files[track.file];
    rows.push_back(cells_of({track.name, channel_text(track, file), track.levels,
                             track.levels ? track.levels->loudness_lufs : std::nullopt,
                             note_of(row_word(track), findings.add(track.name, track.findings))},
                            file));
  }
  findings.add("", {rest, of_session.end()});
  std::string text = heading(survey) + text_table(titles(), rows, columns);
  text += joined_takes(survey) + separate_takes(survey) + stamps(survey);
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
  object["not_joined"] = Json::array();
  for (const session::NumberedPair& pair : survey.not_joined)
    if (!pair.may_be_mics) object["not_joined"].push_back(Json::array({pair.first, pair.second}));
  object["findings"] = list_of(survey.findings);
  return with_controls_escaped(object.dump(2, ' ', false, Json::error_handler_t::replace)) + '\n';
}

}  // namespace kilter::report
