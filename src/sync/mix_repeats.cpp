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
constexpr std::size_t kListenedTo = 5;
constexpr double kMostUnexplained = 0.5;  // of talk that is recorded where it stands once more
constexpr double kSurely = 14.0;          // standard deviations
constexpr double kAlike = 0.5;            // the very same sound, with a jingle on it at most

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

/// How much of a stretch of the mix nobody explains.
double unexplained_s(const std::vector<Stretch>& voice, const std::vector<Span>& mix_spans,
                     double from_s, double to_s) {
  double sum_s = 0.0;
  for (const Stretch& stretch : voice) {
    const auto begins_s = to_mix(mix_spans, stretch.line_from_s);
    const auto ends_s = to_mix(mix_spans, stretch.line_to_s);
    if (begins_s && ends_s)
      sum_s += std::max(0.0, std::min(to_s, *ends_s) - std::max(from_s, *begins_s));
  }
  return sum_s;
}

/// Whether the mix holds that piece of itself `shift_s` later.
Result<bool> is_held_again(const AnalysisSignal& mix, double from_s, double shift_s,
                           SoundMatcher& matcher) {
  const auto frames = [](double s) { return std::llround(s * kAnalysisRateHz); };
  if (auto taken = matcher.take(mix, frames(from_s), frames(kMostCompared_s)); !taken)
    return taken.error();
  const auto match =
      matcher.look(mix, frames(from_s + shift_s), frames(kSlack_s), Polarity::upright);
  if (!match) return match.error();
  return match->found && match->peak_sigma >= kSurely && match->correlation >= kAlike;
}

}  // namespace

Result<bool> are_held_again(const AnalysisSignal& mix, const std::vector<double>& middles_s,
                            double shift_s) {
  if (middles_s.empty()) return false;
  SoundMatcher matcher;
  for (std::size_t i = 0; i < kListenedTo; ++i) {
    const double middle_s = middles_s[i * (middles_s.size() - 1) / (kListenedTo - 1)];
    auto again = is_held_again(mix, middle_s - 0.5 * kMostCompared_s, shift_s, matcher);
    if (!again || !*again) return again;
  }
  return true;
}

Result<MixRepeat> take_repeats(const AnalysisSignal& mix, const OnsetFeatures& mix_features,
                               const std::vector<Span>& mix_spans, const std::atomic<bool>* stop,
                               std::vector<Stretch>& voice, const std::vector<Stretch>& others) {
  MixRepeat repeat;
  const double mix_s = static_cast<double>(mix.frames()) / kAnalysisRateHz;
  std::vector<Stretch> rest;
  for (const Stretch& stretch : voice) {
    const auto from_s = to_mix(mix_spans, stretch.line_from_s);
    const auto to_s = to_mix(mix_spans, stretch.line_to_s);
    const bool is_near = from_s && to_s && *to_s - *from_s >= kLeast_s &&
                         (*from_s < kNearAnEnd_s || *to_s > mix_s - kNearAnEnd_s);
    rest.push_back(stretch);
    if (!is_near) continue;
    const auto again = find_again(mix, mix_features, *from_s, *to_s, stop);
    if (!again) return again.error();
    if (!*again) continue;
    const double again_s = **again;
    const double length_s = *to_s - *from_s;
    repeat.shifts_s.push_back(again_s - *from_s);
    const auto unexplained = [&](const std::vector<Stretch>& among) {
      return unexplained_s(among, mix_spans, again_s, again_s + length_s);
    };
    const bool is_missing_twice =
        unexplained(voice) + unexplained(others) > kMostUnexplained * length_s;
    if (is_missing_twice) continue;
    rest.pop_back();
    if (repeat.stretches.empty()) repeat.again_s = to_timeline(mix_spans, again_s);
    repeat.stretches.push_back(stretch);
  }
  voice = std::move(rest);
  return repeat;
}

}  // namespace kilter::sync
