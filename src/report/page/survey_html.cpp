// What arrived, as a page: the report's parts over recordings that have no place yet.
#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "findings_text.h"
#include "kilter/base/clock_text.h"
#include "kilter/report/survey_page.h"
#include "lane.h"
#include "markup.h"
#include "parts.h"
#include "shell.h"
#include "titles.h"

namespace kilter::report {
namespace {

using survey::Survey;
using survey::SurveyFile;
using survey::SurveyTrack;

/// The survey as the parts of a page take it: every recording from its own beginning, for nobody
/// knows yet where it belongs.
struct Arrived {
  Lineup lineup;
  Heard heard;
};

LineupMix mix_of(const Survey& survey) {
  const SurveyFile& file = survey.files[survey.mix->file];
  LineupMix mix;
  mix.file = file.name;
  mix.rate_hz = file.info.rate.hz;
  mix.frames = file.length.n;
  if (file.length_s() > 0.0) mix.spans = {{0.0, file.length_s(), 0.0, file.length_s(), 0.0}};
  mix.findings = survey.mix->findings;
  return mix;
}

LineupTrack track_of(const SurveyTrack& track, const SurveyFile& file) {
  LineupTrack result;
  result.name = track.name;
  for (const survey::SurveyPart& part : file.parts)
    result.parts.push_back({part.name, track.channel, part.length.n});
  result.rate_hz = file.failure ? 0.0 : file.info.rate.hz;
  result.role = track.role.value_or(Role::room);
  result.findings = track.findings;
  if (auto map = TimeMap::line(0.0, 0.0, file.length_s(), 0.0)) {
    result.map = *std::move(map);
    result.standing = Standing::firm;  // as long as the file says
  }
  return result;
}

Arrived arrived(const Survey& survey) {
  Arrived all;
  all.lineup.session = survey.session;
  if (survey.mix) {
    all.lineup.mix = mix_of(survey);
    all.heard.mix.envelope = survey.mix->envelope;
    const auto& levels = survey.mix->levels;
    const auto loudest = std::max_element(levels.begin(), levels.end(),
                                          [](const intake::Levels& a, const intake::Levels& b) {
                                            return a.level_dbfs < b.level_dbfs;
                                          });
    if (loudest != levels.end()) all.heard.mix.levels = *loudest;
  }
  for (const SurveyTrack& track : survey.tracks) {
    all.lineup.tracks.push_back(track_of(track, survey.files[track.file]));
    all.heard.tracks.push_back({track.levels, track.envelope, {}});
  }
  all.lineup.findings = survey.findings;
  return all;
}

bool needs_person(const SurveyPage& page, const NumberedFinding& each,
                  const std::vector<LineupTrack>& tracks) {
  const Finding& finding = *each.finding;
  if (each.track != nullptr && each.track->role == Role::ignore) return false;
  if (page.must_be_seen_to) return page.must_be_seen_to(finding);
  switch (each.owner) {
    case Owner::track: {
      const auto index = static_cast<std::size_t>(each.track - tracks.data());
      const bool asks_which = finding.code == "mix-copy" &&
                              page.survey->tracks[index].mix_copy == survey::MixCopy::mix_word;
      return asks_which || survey::track_needs_person({finding});
    }
    case Owner::mix:
      return survey::track_needs_person({finding});
    default:
      return survey::session_needs_person({finding});
  }
}

std::vector<Need> needs_of(const std::vector<NumberedFinding>& findings) {
  std::vector<Need> needs;
  for (const NumberedFinding& each : findings)
    if (each.needs_person && each.is_first) needs.push_back(need_of(each));
  return needs;
}

std::string channel_text(const SurveyTrack& track, const SurveyFile& file) {
  if (file.info.channels <= 1) return "";
  std::string text = fmt::format("channel {}", track.channel);
  for (const int other : track.same_channels) text += fmt::format("+{}", other);
  return text + fmt::format(" of {}", file.info.channels);
}

std::string lane_words(const PageParts& parts, const SurveyTrack& track, const SurveyFile& file,
                       const LineupTrack& row) {
  constexpr const char* kBetween = " &middot; ";
  std::string words = file.failure ? "<span class=\"standing unplaced\">unreadable</span>"
                                   : escaped(file.info.format);
  if (const std::string channel = channel_text(track, file); !channel.empty())
    words.append(kBetween).append(channel);
  if (track.role == Role::ignore) words.append(kBetween).append("ignored");
  if (const std::string links = number_links(parts, &row); !links.empty())
    words.append(kBetween).append(links);
  return words;
}

std::string lanes_part(const PageParts& parts, const Survey& survey) {
  const Lineup& lineup = *parts.page.lineup;
  std::vector<Lane> lanes;
  if (lineup.mix)
    lanes.push_back({lineup.mix->file, "the mix " + number_links(parts, nullptr),
                     &parts.page.heard->mix, lineup.mix->spans, lane_marks(parts, nullptr), "mix"});
  for (std::size_t i = 0; i < lineup.tracks.size(); ++i) {
    const LineupTrack& row = lineup.tracks[i];
    std::vector<Span> spans;
    if (row.map) spans.assign(row.map->spans().begin(), row.map->spans().end());
    const SurveyTrack& track = survey.tracks[i];
    lanes.push_back({row.name, lane_words(parts, track, survey.files[track.file], row),
                     &parts.page.heard->tracks[i], std::move(spans), lane_marks(parts, &row),
                     row.map ? "" : "unplaced"});
  }
  std::string html;
  for (std::size_t i = 0; i < lanes.size(); ++i) html += lane_html(parts, lanes[i], i);
  return section("timeline", "What was recorded",
                 "<p>Each recording from its own beginning: where it belongs in the session, "
                 "aligning finds out.</p>\n" +
                     lanes_html(parts, html, "") + lanes_legend(parts));
}

std::string files_part(const Survey& survey) {
  std::vector<std::vector<std::string>> rows;
  for (std::size_t i = 0; i < survey.files.size(); ++i) {
    const SurveyFile& file = survey.files[i];
    std::string names;
    for (const survey::SurveyPart& part : file.parts)
      names += (names.empty() ? "" : ", ") + name_html(part.name);
    if (file.parts.empty()) names = name_html(file.name);
    const auto tracks = std::count_if(survey.tracks.begin(), survey.tracks.end(),
                                      [&](const SurveyTrack& track) { return track.file == i; });
    const bool is_mix = survey.mix && survey.mix->file == i;
    std::string holds = is_mix ? "the mix, " + escaped(survey.mix->found_by)
                               : counted(static_cast<std::size_t>(tracks), "track");
    if (file.failure) {
      rows.push_back({names, "unreadable", "-", "-", "-", "-", "-"});
      continue;
    }
    rows.push_back({names, escaped(file.info.format), clock_text(file.length_s(), 0),
                    fmt::format("{:g}", file.info.rate.hz), std::to_string(file.info.channels),
                    file.stamp ? clock_text(file.stamp->of_day_s(), 0) : "-", std::move(holds)});
  }
  return section(
      "files", "Files",
      "<p>Names in one row were taken for one take. Stamp: the time of day at which the recorder "
      "says that it began.</p>\n" +
          table("Every file",
                {"file", "format", "length <small>hh:mm:ss</small>", "rate <small>Hz</small>",
                 "channels", "stamp <small>hh:mm:ss</small>", "holds"},
                rows));
}

std::string record_part(const SurveyPage& page) {
  return section("record", "For the record",
                 "<dl>\n<dt>made by</dt><dd>" + escaped(page.version) +
                     "</dd>\n<dt>command</dt><dd><code>" + escaped(page.command) +
                     "</code>, and where to: whatever changes no result is left out</dd>\n</dl>\n");
}

/// Files that were joined to one take count each.
std::size_t files_in(const Survey& survey) {
  std::size_t sum = 0;
  for (const SurveyFile& file : survey.files) sum += std::max<std::size_t>(1, file.parts.size());
  return sum;
}

double longest_s(const Survey& survey) {
  double longest = 0.0;
  for (const SurveyFile& file : survey.files) longest = std::max(longest, file.length_s());
  return longest;
}

std::string figures(const Survey& survey) {
  return (survey.mix ? "mix " + name_html(survey.files[survey.mix->file].name) : "no mix") +
         fmt::format(" &middot; {} &middot; {} &middot; {} at the longest",
                     counted(files_in(survey), "file"), counted(survey.tracks.size(), "track"),
                     clock_text(longest_s(survey), 0));
}

std::string sentence_of(const Survey& survey, std::size_t needs) {
  const auto broken = static_cast<std::size_t>(
      std::count_if(survey.files.begin(), survey.files.end(),
                    [](const SurveyFile& file) { return file.failure.has_value(); }));
  std::string text = fmt::format("{} arrived in {}", counted(survey.tracks.size(), "track"),
                                 counted(files_in(survey), "file"));
  text += survey.mix ? "; the mix is " + survey.files[survey.mix->file].name + " (" +
                           survey.mix->found_by + ")"
                     : "; which file is the mix is not known, or there is none";
  if (broken > 0) text += fmt::format("; {} cannot be read", counted(broken, "file"));
  return text + (needs == 0   ? ". Nothing needs a person before it is aligned."
                 : needs == 1 ? ". One thing needs a person first."
                              : fmt::format(". {} things need a person first.", needs));
}

/// With what needs a person by the survey's own rule.
std::vector<NumberedFinding> numbered_of(const SurveyPage& page, const Lineup& lineup) {
  std::vector<NumberedFinding> findings = numbered(lineup, First::mix);
  for (NumberedFinding& each : findings)
    each.needs_person = needs_person(page, each, lineup.tracks);
  share_needs(findings);
  return findings;
}

}  // namespace

std::string survey_sentence(const SurveyPage& page) {
  const Arrived all = arrived(*page.survey);
  return sentence_of(*page.survey, needs_of(numbered_of(page, all.lineup)).size());
}

std::string survey_html(const SurveyPage& page) {
  const Survey& survey = *page.survey;
  const Arrived all = arrived(survey);
  ReportPage inner;
  inner.lineup = &all.lineup;
  inner.heard = &all.heard;
  const auto findings = numbered_of(page, all.lineup);
  const PageParts parts{inner, axis_of(all.lineup), findings, needs_of(findings), false};
  std::string html = needs_part(parts) + drawings_html(lanes_part(parts, survey)) +
                     files_part(survey) + levels_part(parts) + findings_part(parts) +
                     record_part(page);
  return document_html({"survey", survey.session, sentence_of(survey, parts.needs.size()),
                        !parts.needs.empty(), figures(survey), std::move(html), script_data(parts),
                        page.version, false});
}

}  // namespace kilter::report
