#include "told_times.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "kilter/base/clock_text.h"

namespace kilter::commands {
namespace {

using survey::Survey;
using survey::SurveyFile;
using survey::SurveyTrack;

// A person writes whole seconds down; clocks of recorders are set by hand.
constexpr double kHintIsGood_s = 2.0;
constexpr double kStampsAgree_s = 2.0;
constexpr double kDay_s = 86400.0;

Finding told_start(std::string text) {
  Finding finding;
  finding.code = "told-start";
  finding.text = std::move(text);
  return finding;
}

std::optional<TimeMap> moved(const TimeMap& map, double by_s, double at_least_off_us) {
  std::vector<Span> spans(map.spans().begin(), map.spans().end());
  for (Span& span : spans) {
    span.line_from_s += by_s;
    span.line_to_s += by_s;
    span.uncertainty_us = std::max(span.uncertainty_us, at_least_off_us);
  }
  auto made = TimeMap::make(std::move(spans));
  return made ? std::optional(*std::move(made)) : std::nullopt;
}

Finding held(double start_s, const std::string& what_the_sound_says) {
  Finding finding = told_start("Held at " + clock_text(start_s) +
                               " of the timeline, as session.toml orders. " + what_the_sound_says);
  finding.line_s = start_s;
  return finding;
}

void hold_at(double start_s, double length_s, LineupTrack& track) {
  if (track.map) {
    const double by_s = start_s - track.map->start_s();
    // The bound was of the place that the sound told: where that is sure, the other is off by as
    // much.
    const double off_us = track.standing == Standing::firm ? 1e6 * std::fabs(by_s) : 0.0;
    track.map = moved(*track.map, by_s, off_us);
    track.uncertainty_us = off_us;
    track.findings.push_back(
        held(start_s, std::string("By its sound (") + to_text(track.standing) + ") it starts " +
                          short_time_text(by_s) + (by_s < 0.0 ? " later" : " earlier") +
                          "; its drift is taken out as the sound tells it. Take \"pinned\" away to "
                          "follow the sound."));
  } else if (auto line = TimeMap::line(start_s, 0.0, length_s, 0.0)) {
    track.map = *std::move(line);
    track.findings.push_back(held(
        start_s, "Its sound tells no place, so its drift is not known either: listen at its end."));
  }
  track.standing = Standing::firm;
  std::erase_if(track.findings, [](const Finding& each) { return each.code == "unmatched"; });
}

void place_by_hint(double start_s, double length_s, LineupTrack& track) {
  constexpr double kGoodTo_us = 1e6;
  auto line = TimeMap::line(start_s, 0.0, length_s, kGoodTo_us);
  if (!line) return;
  track.map = *std::move(line);
  track.standing = Standing::shaky;
  track.uncertainty_us = kGoodTo_us;
  track.findings.push_back(told_start(
      "Its sound tells no place; it is put at " + clock_text(start_s) +
      " of the timeline, where session.toml expects it. Move it by ear, and hold it there with "
      "\"pinned = true\"."));
}

void compare_hint(double start_s, LineupTrack& track) {
  const double found_s = track.map->start_s();
  if (std::fabs(found_s - start_s) <= kHintIsGood_s) return;
  track.findings.push_back(
      told_start("session.toml expects it at " + clock_text(start_s) +
                 " of the timeline, and its sound puts it at " + clock_text(found_s) +
                 ". The sound is followed; listen there, and hold it with \"pinned = true\" if the "
                 "sound is wrong."));
}

/// When the timeline began, by one file's stamp and the place that the sound gave it.
struct Began {
  std::size_t track;
  double of_day_s;
};

double apart_s(const Began& a, const Began& b) {
  return std::remainder(a.of_day_s - b.of_day_s, kDay_s);
}

/// The one that most agree with; the first of equals.
const Began& agreed_by_most(const std::vector<Began>& all) {
  const auto friends = [&](const Began& one) {
    return std::count_if(all.begin(), all.end(), [&](const Began& other) {
      return std::fabs(apart_s(one, other)) <= kStampsAgree_s;
    });
  };
  return *std::max_element(all.begin(), all.end(),
                           [&](const Began& a, const Began& b) { return friends(a) < friends(b); });
}

}  // namespace

void follow_told_start(const SurveyTrack& told, double length_s, LineupTrack& track) {
  if (!told.start_s || track.role == Role::ignore || track.role == Role::mix || length_s <= 0.0)
    return;
  if (told.pinned)
    hold_at(*told.start_s, length_s, track);
  else if (track.map)
    compare_hint(*told.start_s, track);
  else
    place_by_hint(*told.start_s, length_s, track);
}

void compare_stamps(const Survey& survey, std::vector<LineupTrack>& tracks) {
  std::vector<Began> all;
  for (std::size_t i = 0; i < tracks.size(); ++i) {
    const SurveyFile& file = survey.files[survey.tracks[i].file];
    if (file.stamp && tracks[i].is_used() && tracks[i].standing == Standing::firm)
      all.push_back({i, file.stamp->of_day_s() - tracks[i].map->start_s()});
  }
  if (all.size() < 2) return;
  const Began agreed = agreed_by_most(all);
  for (const Began& each : all) {
    const double off_s = apart_s(each, agreed);
    if (std::fabs(off_s) <= kStampsAgree_s) continue;
    Finding& finding = tracks[each.track].findings.emplace_back();
    finding.code = "start-stamp";
    finding.text = fmt::format(
        "By its time stamp it would start {} {} than by its sound and the stamp of \"{}\". The "
        "sound "
        "is followed. Set that recorder's clock, or do not place its files by their stamps.",
        short_time_text(off_s), off_s > 0.0 ? "later" : "earlier", tracks[agreed.track].name);
  }
}

}  // namespace kilter::commands
