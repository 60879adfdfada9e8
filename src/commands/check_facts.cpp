#include "check_facts.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "check_folder.h"
#include "kilter/base/clock_text.h"

namespace kilter::commands {

namespace {

std::string stem_of(const std::string& file) { return std::filesystem::path(file).stem().string(); }

/// What was written down of the track's file; nothing where that is not known.
const StemMark* mark_of(const Lineup& left, const survey::Survey& survey,
                        const survey::SurveyTrack& track) {
  const std::string name = stem_of(survey.files[track.file].name);
  const auto mark = std::find_if(left.stems.begin(), left.stems.end(),
                                 [&](const StemMark& each) { return stem_of(each.file) == name; });
  return mark == left.stems.end() ? nullptr : &*mark;
}

/// On the timeline: where the map leaves out or adds something, and not only turns to another
/// slope.
std::vector<double> cuts_of(const TimeMap& map) {
  constexpr double kTurns_s = 1e-4;
  std::vector<double> cuts;
  const auto spans = map.spans();
  for (std::size_t i = 1; i < spans.size(); ++i)
    if (spans[i].line_from_s - spans[i - 1].line_to_s > kTurns_s ||
        spans[i].from_s - spans[i - 1].to_s > kTurns_s)
      cuts.push_back(spans[i - 1].line_to_s);
  return cuts;
}

/// The one that may stand at the wrong end of the stretch.
const double* nearest_cut(const std::vector<double>& cuts_s, double from_s, double to_s) {
  constexpr double kNear_s = 30.0;  // a pause
  const auto away_s = [&](double cut_s) {
    return std::min(std::abs(cut_s - from_s), std::abs(cut_s - to_s));
  };
  const auto nearest = std::min_element(cuts_s.begin(), cuts_s.end(),
                                        [&](double a, double b) { return away_s(a) < away_s(b); });
  return nearest == cuts_s.end() || away_s(*nearest) > kNear_s ? nullptr : &*nearest;
}

}  // namespace

bool has_a_hole(const StemFacts& facts, double length_s) {
  return std::any_of(facts.not_placed.begin(), facts.not_placed.end(), [&](const Stretch& each) {
    return each.line_from_s > 0.0 && each.line_to_s < length_s;
  });
}

StemFacts facts_of(const std::optional<Lineup>& left, const survey::Survey& survey,
                   const survey::SurveyTrack& track) {
  StemFacts facts;
  const StemMark* const mark = left ? mark_of(*left, survey, track) : nullptr;
  if (mark == nullptr) return facts;
  const std::string name = stem_of(mark->file);
  facts.has_lineup = true;
  facts.changed = track.digest != mark->digest;
  for (const survey::SurveyTrack& other : survey.tracks) {
    const StemMark* const others = mark_of(*left, survey, other);
    const bool is_mix = survey.mix && survey.mix->file == other.file;
    if (!is_mix && others != nullptr && others != mark && other.digest == others->digest)
      facts.others_unchanged = true;
  }
  const double length_s = left->to_s - left->from_s;
  std::vector<Stretch> placed;
  for (const LineupTrack& each : left->tracks) {
    if (!each.map || (each.voice.empty() ? each.name : each.voice) != name) continue;
    for (const Span& span : each.map->spans())
      placed.push_back({span.line_from_s - left->from_s, span.line_to_s - left->from_s});
    for (const double cut_s : cuts_of(*each.map)) facts.cuts_s.push_back(cut_s - left->from_s);
    for (const Finding& finding : each.findings)
      if (finding.code == "excursion")
        for (const Stretch& stretch : finding.stretches)
          facts.held_back.push_back(
              {stretch.line_from_s - left->from_s, stretch.line_to_s - left->from_s});
  }
  facts.not_placed = gaps_between(std::move(placed), length_s);
  return facts;
}

bool has_all_stems(const Lineup& left, const survey::Survey& survey) {
  return std::all_of(left.stems.begin(), left.stems.end(), [&](const StemMark& mark) {
    return std::any_of(survey.files.begin(), survey.files.end(),
                       [&](const auto& file) { return stem_of(file.name) == stem_of(mark.file); });
  });
}

bool any_within(const std::vector<Stretch>& stretches, double from_s, double to_s,
                double around_s) {
  return std::any_of(stretches.begin(), stretches.end(), [&](const Stretch& each) {
    return from_s < each.line_to_s + around_s && to_s > each.line_from_s - around_s;
  });
}

std::string departure_text(const StemFacts& facts, double from_s, double to_s) {
  constexpr double kAround_s = 3.0;
  if (any_within(facts.held_back, from_s, to_s, kAround_s))
    return "the network stream's doing, as it was when the session was aligned.";
  if (facts.has_lineup && !facts.changed)
    return "it is as it was written, so a network stream has done that to the mix, or aligning "
           "missed a cut in the recording. Listen there.";
  return "a network stream does that to a mix, and so does a sentence that slipped. Listen there.";
}

std::string mend_text(const StemFacts& facts, std::string_view otherwise, double from_s,
                      double to_s) {
  if (!facts.has_lineup || facts.changed)
    return fmt::format(" Conform the session again, or {}.", otherwise);
  std::string text = " It is as conform wrote it, so conforming again changes nothing by itself.";
  if (const double* const cut_s = nearest_cut(facts.cuts_s, from_s, to_s))
    text += fmt::format(
        " The lineup cuts it at {}; the cut may belong to the other end of that stretch.",
        clock_text(*cut_s));
  return text +
         " Listen there, set its rows in edits/cuts.tsv right and conform with --lineup and "
         "--cuts.";
}

}  // namespace kilter::commands
