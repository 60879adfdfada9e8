#include "kilter/sync/few_words.h"

#include <algorithm>
#include <cmath>

#include "quarter_seconds.h"
#include "sound_matcher.h"

namespace kilter::sync {
namespace {

constexpr std::size_t kPassage = 10;  // blocks
constexpr std::size_t kMostPassages = 3;
constexpr double kStandsOut = 100.0;   // of the power of its quieter blocks
constexpr double kQuieter = 0.3;       // the share of blocks that are
constexpr double kBeyondDoubt = 14.0;  // sigma; chance reaches 9 in hours of speech
constexpr double kMostDrift = 300e-6;
constexpr double kAgreement_s = 1e-3;

/// Power of every quarter of a second.
Result<std::vector<double>> powers_of(const AnalysisSignal& track, const std::atomic<bool>* stop) {
  std::vector<double> powers;
  std::vector<float> block(static_cast<std::size_t>(kQuarter + 1));
  for (std::int64_t first = 0; first + kQuarter <= track.frames(); first += kQuarter) {
    if (stop != nullptr && stop->load()) break;
    if (auto read = track.read(first - 1, block); !read) return read.error();
    powers.push_back(quarter_sums(block.data(), block.data()).power);
  }
  return powers;
}

/// First blocks of the passages that say the most, none over another; loudness beyond a limit
/// counts no further, so that a knock is no word.
std::vector<std::size_t> loudest_passages(const std::vector<double>& powers) {
  if (powers.size() < kPassage) return {};
  std::vector<double> sorted = powers;
  std::sort(sorted.begin(), sorted.end());
  const auto at = [&](double share) {
    return sorted[static_cast<std::size_t>(share * static_cast<double>(sorted.size() - 1))];
  };
  const double least = kStandsOut * at(kQuieter);
  const double limit = std::max(least, 0.1 * sorted.back());
  std::vector<double> says;
  double sum = 0.0;
  for (std::size_t b = 0; b < powers.size(); ++b) {
    const auto said = [&](std::size_t i) {
      return powers[i] > least ? std::min(powers[i], limit) : 0.0;
    };
    sum += said(b);
    if (b >= kPassage) sum -= said(b - kPassage);
    if (b + 1 >= kPassage) says.push_back(std::max(sum, 0.0));
  }
  std::vector<std::size_t> chosen;
  while (chosen.size() < kMostPassages) {
    const auto best = std::max_element(says.begin(), says.end());
    if (*best < 2.0 * least || *best <= 0.0) break;
    const auto first = static_cast<std::size_t>(best - says.begin());
    chosen.push_back(first);
    const std::size_t from = first - std::min(first, kPassage);
    for (std::size_t b = from; b < std::min(says.size(), first + kPassage); ++b) says[b] = 0.0;
  }
  return chosen;
}

/// Whether one clock can hold both.
bool agree(const Vote& a, const Vote& b) {
  return std::abs(a.lag_s - b.lag_s) < kAgreement_s + kMostDrift * std::abs(a.track_s - b.track_s);
}

FirstMap map_through(const Vote& a, const Vote& b, std::vector<Vote> votes) {
  FirstMap map;
  map.found = true;
  const double apart_s = b.track_s - a.track_s;
  const double slope = apart_s != 0.0 ? (b.lag_s - a.lag_s) / apart_s : 0.0;
  map.drift_ppm = -1e6 * slope;
  map.lag_s = a.lag_s - slope * a.track_s;
  map.best_vote = std::max(a.sigma, b.sigma);
  map.match_sigma = apart_s != 0.0 ? std::hypot(a.sigma, b.sigma) : a.sigma;
  map.votes = std::move(votes);
  return map;
}

}  // namespace

Result<FirstMap> map_of_few_words(const AnalysisSignal& reference, const AnalysisSignal& track,
                                  const std::atomic<bool>* stop) {
  const auto powers = powers_of(track, stop);
  if (!powers) return powers.error();
  SoundMatcher matcher;
  std::vector<Vote> votes;
  for (const std::size_t first : loudest_passages(*powers)) {
    if (stop != nullptr && stop->load()) return FirstMap{};
    const auto length = static_cast<std::int64_t>(kPassage) * kQuarter;
    const std::int64_t from = static_cast<std::int64_t>(first) * kQuarter;
    if (auto taken = matcher.take(track, from, length); !taken) return taken.error();
    const auto match =
        matcher.look_over(reference, -length, reference.frames(), Polarity::either, stop);
    if (!match) return match.error();
    if (!match->found) continue;
    const double from_s = static_cast<double>(from) / kAnalysisRateHz;
    const double line_s = match->offset_s - static_cast<double>(length) / kAnalysisRateHz;
    votes.push_back({from_s + 0.5 * kQuarter_s * static_cast<double>(kPassage), line_s - from_s,
                     match->peak_sigma});
  }
  std::stable_sort(votes.begin(), votes.end(),
                   [](const Vote& a, const Vote& b) { return a.sigma > b.sigma; });
  for (std::size_t i = 0; i < votes.size(); ++i)
    for (std::size_t j = i + 1; j < votes.size(); ++j)
      if (agree(votes[i], votes[j])) return map_through(votes[i], votes[j], votes);
  if (!votes.empty() && votes.front().sigma >= kBeyondDoubt)
    return map_through(votes.front(), votes.front(), votes);
  return FirstMap{};
}

}  // namespace kilter::sync
