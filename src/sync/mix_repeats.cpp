#include "mix_repeats.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>

#include "kilter/sync/first_map.h"
#include "mix_timeline.h"
#include "sound_matcher.h"

namespace kilter::sync {
namespace {

constexpr double kNearAnEnd_s = 300.0;
constexpr double kLeast_s = 2.0;
constexpr double kMostCompared_s = 6.0;
constexpr double kElsewhere_s = 2.0;
constexpr double kSlack_s = 0.1;  // of a place that is known from when sound sets in
constexpr std::size_t kMostPlaces = 4;
constexpr double kSurely = 14.0;  // standard deviations
constexpr double kAlike = 0.5;    // the very same sound, with a jingle on it at most

/// Mix second of a timeline second; nothing where the mix has lost it.
std::optional<double> to_mix(const std::vector<Span>& mix_spans, double line_s) {
  for (const Span& span : mix_spans)
    if (line_s >= span.line_from_s && line_s <= span.line_to_s)
      return span.from_s + line_s - span.line_from_s;
  return std::nullopt;
}

OnsetFeatures part_of(const OnsetFeatures& features, double from_s, double to_s) {
  const auto frame = [&](double s) {
    return std::clamp<std::int64_t>(std::llround(s * kFeatureRateHz), 0, features.frames());
  };
  OnsetFeatures part;
  for (std::size_t b = 0; b < kFeatureBands; ++b)
    part.bands[b].assign(features.bands[b].begin() + frame(from_s),
                         features.bands[b].begin() + frame(to_s));
  return part;
}

/// Where the mix holds what it has from one second to another once more; nothing where nowhere.
Result<std::optional<double>> find_again(const AnalysisSignal& mix,
                                         const OnsetFeatures& mix_features, double from_s,
                                         double to_s, const std::atomic<bool>* stop) {
  FirstMap map = first_map(mix_features, part_of(mix_features, from_s, to_s), stop);
  std::stable_sort(map.votes.begin(), map.votes.end(),
                   [](const Vote& a, const Vote& b) { return a.sigma > b.sigma; });
  std::erase_if(map.votes,
                [&](const Vote& vote) { return std::abs(vote.lag_s - from_s) < kElsewhere_s; });
  if (map.votes.size() > kMostPlaces) map.votes.resize(kMostPlaces);
  const auto frames = [](double s) { return std::llround(s * kAnalysisRateHz); };
  SoundMatcher matcher;
  const double compared_s = std::min(to_s - from_s, kMostCompared_s);
  if (auto taken = matcher.take(mix, frames(from_s), frames(compared_s)); !taken)
    return taken.error();
  for (const Vote& vote : map.votes) {
    const auto match = matcher.look(mix, frames(vote.lag_s), frames(kSlack_s), Polarity::upright);
    if (!match) return match.error();
    if (match->found && match->peak_sigma >= kSurely && match->correlation >= kAlike)
      return std::optional(vote.lag_s + match->offset_s);
  }
  return std::optional<double>{};
}

}  // namespace

Result<MixRepeat> take_repeats(const AnalysisSignal& mix, const OnsetFeatures& mix_features,
                               const std::vector<Span>& mix_spans, const std::atomic<bool>* stop,
                               std::vector<Stretch>& voice) {
  MixRepeat repeat;
  const double length_s = static_cast<double>(mix.frames()) / kAnalysisRateHz;
  std::vector<Stretch> rest;
  for (const Stretch& stretch : voice) {
    const auto from_s = to_mix(mix_spans, stretch.line_from_s);
    const auto to_s = to_mix(mix_spans, stretch.line_to_s);
    const bool is_near = from_s && to_s && *to_s - *from_s >= kLeast_s &&
                         (*from_s < kNearAnEnd_s || *to_s > length_s - kNearAnEnd_s);
    std::optional<double> again_s;
    if (is_near) {
      const auto found = find_again(mix, mix_features, *from_s, *to_s, stop);
      if (!found) return found.error();
      again_s = *found;
    }
    if (!again_s) {
      rest.push_back(stretch);
      continue;
    }
    if (repeat.stretches.empty()) repeat.again_s = to_timeline(mix_spans, *again_s);
    repeat.stretches.push_back(stretch);
  }
  voice = std::move(rest);
  return repeat;
}

}  // namespace kilter::sync
