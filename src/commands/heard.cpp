#include "heard.h"

#include <algorithm>
#include <cmath>
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

/// Further than a table of cuts rounds.
bool lies_elsewhere(const std::optional<TimeMap>& now, const std::optional<TimeMap>& before) {
  constexpr double kElsewhere_s = 1e-4;
  if (!before) return false;  // its sound told nothing
  if (!now) return true;
  const auto spans = before->spans();
  return std::any_of(spans.begin(), spans.end(), [&](const Span& span) {
    const double at_s = 0.5 * (span.from_s + span.to_s);
    const auto line_s = now->to_line(at_s);
    return !line_s || std::abs(*line_s - *before->to_line(at_s)) > kElsewhere_s;
  });
}

report::NullCell cell_of(const sync::HalfSecond& half) {
  using Kind = report::NullCell::Kind;
  const Kind kind = half.kind == sync::HalfKind::uncovered ? Kind::uncovered
                    : half.kind == sync::HalfKind::quiet   ? Kind::pause
                                                           : Kind::told;
  return {kind, half.mix_db, half.depth_db};
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
      if (input.survey_tracks[i] != index) continue;
      heard.moved_since = heard.moved_since || lies_elsewhere(track.map, placings[i].map);
      if (!track.map || !placings[i].map) continue;
      own.windows = windows_of(placings[i]);
      measure_from(*track.map, *placings[i].map, own.windows);
    }
  }
  return heard;
}

report::NullDepth null_depth(const sync::Alignment& alignment) {
  report::NullDepth depth;
  const sync::Unexplained& found = alignment.unexplained;
  const auto mix = TimeMap::make(alignment.mix_spans);
  if (found.halves.empty() || !mix) return depth;
  depth.typical_db = found.typical_depth_db;
  const double mix_end_s = alignment.mix_spans.back().to_s;
  depth.cells.resize(static_cast<std::size_t>(std::max(0.0, mix_end_s / depth.cell_s)));
  for (std::size_t i = 0; i < depth.cells.size(); ++i) {
    const auto line_s = mix->to_line((static_cast<double>(i) + 0.5) * depth.cell_s);
    const double half = line_s ? (*line_s - found.from_s) / sync::Unexplained::kHalf_s : -1.0;
    if (half >= 0.0 && half < static_cast<double>(found.halves.size()))
      depth.cells[i] = cell_of(found.halves[static_cast<std::size_t>(half)]);
  }
  return depth;
}

void measure_from(const Lineup& lineup, const Lineup& before, report::Heard& heard) {
  for (std::size_t i = 0; i < lineup.tracks.size(); ++i) {
    const auto& earlier = before.tracks[i].map;
    heard.moved_since = heard.moved_since || lies_elsewhere(lineup.tracks[i].map, earlier);
    if (!earlier || !lineup.tracks[i].map)
      heard.tracks[i].windows.clear();
    else
      measure_from(*lineup.tracks[i].map, *earlier, heard.tracks[i].windows);
  }
}

}  // namespace kilter::commands
