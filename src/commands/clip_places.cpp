#include "clip_places.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <tuple>

#include "kilter/base/clock_text.h"
#include "kilter/base/decibels.h"

namespace kilter::commands {
namespace {

using conform::ClipPlace;
using conform::ClipReason;
using report::MeasuredWindow;

constexpr std::size_t kMostSeams = 6;

std::string time_text(double seconds) {
  const double size_us = 1e6 * std::abs(seconds);
  return size_us < 1000.0 ? fmt::format("{:.2g} µs", size_us) : short_time_text(seconds);
}

/// Where a window has the sound, for somebody who listens.
std::string measured_text(double offset_us) {
  return fmt::format("measured {} {} than the stem has it", time_text(1e-6 * offset_us),
                     offset_us < 0.0 ? "earlier" : "later");
}

std::string signed_time(double seconds) {
  return fmt::format("{}{}", seconds < 0.0 ? '-' : '+', time_text(seconds));
}

bool is_covered(const TimeMap& map, double line_s) {
  const auto spans = map.spans();
  return spans.front().line_from_s < line_s && line_s < spans.back().line_to_s;
}

/// All of them, the largest steps first.
std::vector<ClipPlace> seams_of(const Lineup& lineup, std::size_t index) {
  constexpr double kHeardWhole_s = 6.0;  // what is lost beyond that is silence like any other
  struct Seam {
    double step_s;
    ClipPlace place;
  };
  std::vector<Seam> seams;
  const auto add = [&](const std::vector<Finding>& findings, const char* code, const char* whose) {
    for (const Finding& finding : findings) {
      if (finding.code != code || !finding.line_s) continue;
      if (!is_covered(*lineup.tracks[index].map, *finding.line_s)) continue;
      const double step_s = finding.step_s.value_or(0.0);
      const double lost_s = step_s > 0.0 && step_s < kHeardWhole_s ? step_s : 0.0;
      seams.push_back(
          {step_s,
           {index,
            ClipReason::seam,
            {*finding.line_s - lost_s, *finding.line_s},
            finding.step_s ? fmt::format("a step of {}{}", signed_time(step_s), whose) : whose}});
    }
  };
  add(lineup.tracks[index].findings, "seam", "");
  if (lineup.mix) add(lineup.mix->findings, "mix-seam", " in the mix");
  std::stable_sort(seams.begin(), seams.end(), [](const Seam& a, const Seam& b) {
    return std::abs(a.step_s) > std::abs(b.step_s);
  });
  std::vector<ClipPlace> places;
  for (Seam& seam : seams) places.push_back(std::move(seam.place));
  return places;
}

/// Whether somebody is heard on the track around a second of it, as far as that is known.
bool sounds_at(const report::HeardTrack& heard, double track_s) {
  constexpr double kAround_s = 3.0;
  constexpr double kBelowSpeech = 0.01;
  if (!heard.levels || heard.envelope.cells.empty()) return true;
  const auto cell = [&](double at_s) {
    return std::clamp(static_cast<std::ptrdiff_t>(at_s / heard.envelope.cell_s), std::ptrdiff_t{0},
                      std::ssize(heard.envelope.cells) - 1);
  };
  double power = 0.0;
  const std::ptrdiff_t first = cell(track_s - kAround_s);
  const std::ptrdiff_t last = cell(track_s + kAround_s);
  for (std::ptrdiff_t i = first; i <= last; ++i)
    power += static_cast<double>(heard.envelope.cells[static_cast<std::size_t>(i)].power);
  const double speech = db_to_power(heard.levels->level_dbfs);
  return power / static_cast<double>(last - first + 1) > kBelowSpeech * speech;
}

/// The lineup's bound there: a window's own spread tells nothing of what all of them share.
std::string bound_text(const TimeMap& map, double line_s) {
  const auto spans = map.spans();
  const auto span = std::find_if(spans.begin(), spans.end(), [&](const Span& each) {
    return each.line_from_s <= line_s && line_s <= each.line_to_s;
  });
  return "±" + time_text(1e-6 * (span == spans.end() ? spans.back() : *span).uncertainty_us);
}

ClipPlace at_window(std::size_t index, ClipReason reason, double line_s, std::string words) {
  return {index, reason, {line_s, line_s}, std::move(words)};
}

/// Only windows count that lie in the stems and in which there is something to hear.
void add_windows(const LineupTrack& track, std::size_t index, const report::HeardTrack& heard,
                 const conform::ConformReport& stems, std::vector<ClipPlace>& places) {
  const double to_s = stems.from_s + static_cast<double>(stems.frames) / stems.rate_hz;
  const MeasuredWindow* worst = nullptr;
  const MeasuredWindow* weakest = nullptr;
  const auto evidence = [](const MeasuredWindow& window) {  // of two that tell nothing, the surer
    return std::tuple(window.weight / (window.sigma_us * window.sigma_us), window.sigma_us);
  };
  for (const MeasuredWindow& window : heard.windows) {
    const auto line_s = track.map->to_line(window.at_s);
    if (!line_s || *line_s < stems.from_s || *line_s > to_s) continue;
    if (!sounds_at(heard, window.at_s)) continue;
    if (window.weight > 0.0 &&
        (worst == nullptr || std::abs(window.offset_us) > std::abs(worst->offset_us)))
      worst = &window;
    if (weakest == nullptr || evidence(window) < evidence(*weakest)) weakest = &window;
  }
  if (worst != nullptr)
    places.push_back(at_window(index, ClipReason::residual, *track.map->to_line(worst->at_s),
                               measured_text(worst->offset_us)));
  if (weakest == nullptr) return;
  const double line_s = *track.map->to_line(weakest->at_s);
  std::string words = weakest->weight > 0.0
                          ? "the least sure window; placed to " + bound_text(*track.map, line_s)
                          : measured_text(weakest->offset_us) + ", and not used";
  places.push_back(at_window(index, ClipReason::evidence, line_s, std::move(words)));
}

void add_widest_span(const LineupTrack& track, std::size_t index, std::vector<ClipPlace>& places) {
  const auto spans = track.map->spans();
  const auto [least, most] = std::minmax_element(
      spans.begin(), spans.end(),
      [](const Span& a, const Span& b) { return a.uncertainty_us < b.uncertainty_us; });
  if (least->uncertainty_us < most->uncertainty_us)
    places.push_back(at_window(index, ClipReason::evidence,
                               0.5 * (most->line_from_s + most->line_to_s),
                               "a bound of " + time_text(1e-6 * most->uncertainty_us)));
}

}  // namespace

ClipPlaces clip_places(const Lineup& lineup, const report::Heard* heard,
                       const conform::ConformReport& stems) {
  ClipPlaces result;
  for (std::size_t i = 0; i < lineup.tracks.size(); ++i) {
    const LineupTrack& track = lineup.tracks[i];
    if (!track.is_used() || stems.stems[i].file.empty()) continue;
    std::vector<ClipPlace> seams = seams_of(lineup, i);
    if (seams.size() > kMostSeams) {
      result.left_out.push_back({i, static_cast<int>(seams.size() - kMostSeams)});
      seams.resize(kMostSeams);
    }
    std::move(seams.begin(), seams.end(), std::back_inserter(result.places));
    if (heard != nullptr && !heard->tracks[i].windows.empty())
      add_windows(track, i, heard->tracks[i], stems, result.places);
    else
      add_widest_span(track, i, result.places);
    const auto spans = track.map->spans();
    const auto edge = [&](ClipReason reason, double line_s) {
      const double to_s = stems.from_s + static_cast<double>(stems.frames) / stems.rate_hz;
      const double within_s = std::clamp(line_s, stems.from_s, to_s);
      result.places.push_back(at_window(i, reason, within_s, ""));
    };
    edge(ClipReason::start, spans.front().line_from_s);
    edge(ClipReason::end, spans.back().line_to_s);
  }
  return result;
}

}  // namespace kilter::commands
