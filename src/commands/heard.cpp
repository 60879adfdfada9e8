#include "heard.h"

#include <algorithm>
#include <utility>

namespace kilter::commands {
namespace {

/// Windows of a placing, in track time: the timeline may become another.
std::vector<report::MeasuredWindow> windows_of(const sync::TrackPlacing& placing) {
  std::vector<report::MeasuredWindow> windows;
  if (!placing.map) return windows;
  for (const sync::Window& window : placing.windows)
    if (const auto at_s = placing.map->to_track(window.line_s))
      windows.push_back({*at_s, window.offset_us, window.sigma_us, window.weight});
  return windows;
}

/// Drops what `to` does not hold.
void measure_from(const TimeMap& to, const TimeMap& from,
                  std::vector<report::MeasuredWindow>& windows) {
  std::erase_if(windows, [&](report::MeasuredWindow& window) {
    const auto now_s = to.to_line(window.at_s);
    const auto before_s = from.to_line(window.at_s);
    if (!now_s || !before_s) return true;
    window.offset_us += 1e6 * (*before_s - *now_s);
    return false;
  });
}

report::HeardTrack heard_mix(const survey::SurveyMix& mix) {
  report::HeardTrack heard;
  heard.envelope = mix.envelope;
  const auto loudest = std::max_element(
      mix.levels.begin(), mix.levels.end(),
      [](const intake::Levels& a, const intake::Levels& b) { return a.level_dbfs < b.level_dbfs; });
  if (loudest != mix.levels.end()) heard.levels = *loudest;
  return heard;
}

}  // namespace

report::Heard heard_of(const survey::Survey& survey, const AlignInput& input,
                       const std::vector<sync::TrackPlacing>& placings, const Lineup& lineup) {
  report::Heard heard;
  if (survey.mix) heard.mix = heard_mix(*survey.mix);
  for (const LineupTrack& track : lineup.tracks) {
    report::HeardTrack& own = heard.tracks.emplace_back();
    const auto found =
        std::find_if(survey.tracks.begin(), survey.tracks.end(),
                     [&](const survey::SurveyTrack& each) { return each.name == track.name; });
    if (found == survey.tracks.end()) continue;
    own.levels = found->levels;
    own.envelope = found->envelope;
    const auto index = static_cast<std::size_t>(found - survey.tracks.begin());
    for (std::size_t i = 0; i < placings.size(); ++i) {
      if (input.survey_tracks[i] != index || !track.map || !placings[i].map) continue;
      own.windows = windows_of(placings[i]);
      measure_from(*track.map, *placings[i].map, own.windows);
    }
  }
  return heard;
}

void measure_from(const Lineup& lineup, const Lineup& before, report::Heard& heard) {
  for (std::size_t i = 0; i < lineup.tracks.size(); ++i) {
    const auto& earlier = before.tracks[i].map;
    if (!earlier || !lineup.tracks[i].map)
      heard.tracks[i].windows.clear();
    else
      measure_from(*lineup.tracks[i].map, *earlier, heard.tracks[i].windows);
  }
}

}  // namespace kilter::commands
