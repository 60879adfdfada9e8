#include "check_claims.h"

#include <algorithm>

namespace kilter::commands {

using survey::Survey;
using survey::SurveyTrack;

namespace {

constexpr double kNanosecond = 1e-9;

/// From track time to the mix's own: the timeline runs on where the mix lost or repeated a stretch.
std::optional<TimeMap> onto_mix(const TimeMap& track, const std::vector<Span>& mix) {
  std::vector<Span> spans;
  for (const Span& t : track.spans())
    for (const Span& m : mix) {
      const double from_s = std::max(t.line_from_s, m.line_from_s);
      const double to_s = std::min(t.line_to_s, m.line_to_s);
      if (to_s - from_s < kNanosecond) continue;
      const auto track_s = [&](double line_s) {
        return t.from_s + (line_s - t.line_from_s) / t.rate();
      };
      const auto mix_s = [&](double line_s) {
        return m.from_s + (line_s - m.line_from_s) / m.rate();
      };
      spans.push_back({track_s(from_s), track_s(to_s), mix_s(from_s), mix_s(to_s), 0.0});
    }
  auto map = TimeMap::make(std::move(spans));
  if (!map) return std::nullopt;
  return *std::move(map);
}

/// What the lineup claims of the survey's track; nothing where it does not place it.
std::optional<Claim> claim_of(const Lineup& lineup, const Survey& survey, std::size_t index) {
  const SurveyTrack& track = survey.tracks[index];
  const std::string& file = survey.files[track.file].name;
  for (const LineupTrack& each : lineup.tracks) {
    if (!each.is_used() || each.parts.front().file != file ||
        each.parts.front().channel != track.channel)
      continue;
    auto map = onto_mix(*each.map, lineup.mix->spans);
    if (!map) return std::nullopt;
    return Claim{index, *std::move(map), each.inverted};
  }
  return std::nullopt;
}

}  // namespace

TimeMap in_place(double length_s) { return *TimeMap::line(0.0, 0.0, length_s, 0.0); }

std::vector<Claim> claims_of(const std::optional<Lineup>& lineup, const Survey& survey,
                             const AlignInput& input) {
  std::vector<Claim> claims;
  for (const std::size_t index : input.survey_tracks) {
    if (!lineup) {
      const double length_s = survey.files[survey.tracks[index].file].length_s();
      claims.push_back({index, in_place(length_s), false});
    } else if (auto claim = claim_of(*lineup, survey, index)) {
      claims.push_back(*std::move(claim));
    }
  }
  return claims;
}

}  // namespace kilter::commands
