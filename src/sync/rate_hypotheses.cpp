#include "kilter/sync/rate_hypotheses.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "kilter/signal/rate_corrected_signal.h"

namespace kilter::sync {
namespace {

constexpr std::array kRates_hz{8000.0,  11025.0, 16000.0, 22050.0, 24000.0,
                               32000.0, 44100.0, 48000.0, 88200.0, 96000.0};
constexpr double kPull = 1.001;      // film to video speed
constexpr double kSameRatio = 2e-4;  // clocks drift by less
constexpr double kLargestRatio = 16.0;

// Where so large a share of the clear votes lies on one line, the header is right: a first map is
// good to 5 ms, and 0.1 % bends that line by 40 ms within 90 s.
constexpr double kClearVote = 9.0;
constexpr double kOnLine_s = 0.012;
constexpr double kLeastOnLine = 0.5;
constexpr double kLeastExtent_s = 60.0;  // of those on the line: nearer together they would be on
                                         // it at a pulled rate as well

// Pieces begin where the first map's chunks do.
constexpr std::int64_t kGrid = 30 * kFeatureRateHz;
constexpr std::int64_t kPiece = 2 * kGrid;
constexpr std::int64_t kPieces = 6;

// The true rate matched with 40 sigma where the track spoke 3 % of 8 minutes, with 60 and more
// else, and above the header's match 2.1 times at least (of a pulled rate; of others 4 times).
// Foreign tracks reached 10 at any rate, 17.5 where two sessions held the same recorded words;
// tracks of half a minute to four at a rate that is wrong by 8 % and more, 10. By 0.5 % a minute
// reached 23, and by 1 %, 13: a header that matches as a true rate does is less than that off.
constexpr double kLeastMatch = 20.0;
constexpr double kAboveAsHeaded = 1.6;
// Of pulled rates it stood 1.38 times above and more in talks of three minutes. In a minute a
// pulled rate moves nothing far enough to tell.
constexpr double kPulledAboveAsHeaded = 1.25;
constexpr double kTellsPulled_s = 60.0;
constexpr double kAboveOthers = 1.6;
constexpr double kNear = 0.01;

/// Whether most of the chunks that hear the reference clearly lie on the map's line, far enough
/// apart.
bool header_holds(const FirstMap& map) {
  if (!map.found) return false;
  double clear = 0.0;
  double on_line = 0.0;
  double first_s = 1e300;
  double last_s = -1e300;
  for (std::size_t i = 0; i < map.votes.size();) {
    const Vote* best = &map.votes[i];  // of one chunk's votes
    for (const double track_s = best->track_s;
         i < map.votes.size() && map.votes[i].track_s == track_s; ++i)
      if (map.votes[i].sigma > best->sigma) best = &map.votes[i];
    if (best->sigma < kClearVote) continue;
    const double lag_s = map.to_reference_s(best->track_s) - best->track_s;
    clear += 1.0;
    if (std::abs(best->lag_s - lag_s) >= kOnLine_s) continue;
    on_line += 1.0;
    first_s = std::min(first_s, best->track_s);
    last_s = std::max(last_s, best->track_s);
  }
  return last_s - first_s >= kLeastExtent_s && on_line >= kLeastOnLine * clear;
}

void add_ratio(double ratio, std::vector<double>& ratios) {
  const auto alike = [&](double known) { return std::abs(ratio / known - 1.0) < kSameRatio; };
  if (ratio > kLargestRatio || ratio < 1.0 / kLargestRatio || alike(1.0)) return;
  if (std::none_of(ratios.begin(), ratios.end(), alike)) ratios.push_back(ratio);
}

bool is_pull(double ratio) { return std::abs(ratio - 1.0) < 1.5 * (kPull - 1.0); }

std::vector<double> likely_ratios(double header_rate_hz, const FirstMap& as_headed) {
  std::vector<double> ratios;
  for (const double rate_hz : kRates_hz)
    if (as_headed.match_sigma < kLeastMatch || std::abs(rate_hz / header_rate_hz - 1.0) < kNear)
      add_ratio(rate_hz / header_rate_hz, ratios);
  for (const double pull : {kPull, 1.0 / kPull}) add_ratio(pull, ratios);
  return ratios;
}

/// A stretch of a signal as a signal.
class Piece final : public AnalysisSignal {
 public:
  Piece(const AnalysisSignal& whole, std::int64_t first, std::int64_t frames)
      : whole_(whole), first_(first), frames_(frames) {}
  std::int64_t frames() const override { return frames_; }
  Result<void> read(std::int64_t first, std::span<float> out) const override {
    return whole_.read(first_ + first, out);
  }

 private:
  const AnalysisSignal& whole_;
  std::int64_t first_;
  std::int64_t frames_;
};

/// Where in the track most sets in, by its features as headed, which are borrowed.
class Liveliness {
 public:
  explicit Liveliness(const OnsetFeatures& features) : features_(features), sums_{0} {
    for (std::int64_t first = 0; first < features.frames(); first += kFeatureRateHz)
      sums_.push_back(sums_.back() +
                      sum(first, std::min(first + kFeatureRateHz, features.frames())));
  }
  double between(double from_frame, double to_frame) const {
    return static_cast<double>(sum_until(to_frame) - sum_until(from_frame));
  }

 private:
  std::int64_t sum(std::int64_t from, std::int64_t to) const {
    std::int64_t squares = 0;
    for (const auto& band : features_.bands)
      for (auto i = static_cast<std::size_t>(from); i < static_cast<std::size_t>(to); ++i)
        squares += std::int64_t{band[i]} * band[i];
    return squares;
  }
  std::int64_t sum_until(double frame) const {
    const auto last = static_cast<double>(features_.frames());
    const auto end = static_cast<std::int64_t>(std::clamp(std::round(frame), 0.0, last));
    const std::int64_t second = end / kFeatureRateHz;
    return sums_[static_cast<std::size_t>(second)] + sum(second * kFeatureRateHz, end);
  }

  const OnsetFeatures& features_;
  std::vector<std::int64_t> sums_;  // up to every second
};

/// First feature frames, at the true rate, of the liveliest piece in each part of the track.
std::vector<std::int64_t> choose_pieces(const Liveliness& liveliness, std::int64_t frames,
                                        double ratio) {
  std::vector<std::int64_t> firsts;
  const std::int64_t grid_points = frames / kGrid;
  for (std::int64_t part = 0; part < kPieces; ++part) {
    std::int64_t best = -1;
    double most = 0.0;
    for (std::int64_t g = part * grid_points / kPieces; g < (part + 1) * grid_points / kPieces;
         ++g) {
      const auto from = static_cast<double>(g * kGrid);
      const double lively = liveliness.between(from * ratio, (from + kPiece) * ratio);
      if (lively > most) {
        most = lively;
        best = g * kGrid;
      }
    }
    const bool overlaps = !firsts.empty() && best < firsts.back() + kPiece;
    if (best >= 0 && !overlaps) firsts.push_back(best);
  }
  return firsts;
}

/// Features of the track's liveliest pieces, 0 between them: what first_map() then passes over.
Result<OnsetFeatures> piecewise_features(const AnalysisSignal& track, const Liveliness& liveliness,
                                         double ratio, const std::atomic<bool>* stop) {
  constexpr std::int64_t kHop = kAnalysisRateHz / kFeatureRateHz;
  const std::int64_t frames = track.frames() / kHop;
  if (frames <= kPieces * kPiece) return onset_features(track, stop);
  OnsetFeatures features;
  for (auto& band : features.bands) band.assign(static_cast<std::size_t>(frames), 0);
  for (const std::int64_t first : choose_pieces(liveliness, frames, ratio)) {
    const std::int64_t length = std::min(kPiece, frames - first);
    const auto piece = onset_features(Piece(track, first * kHop, length * kHop), stop);
    if (!piece) return piece.error();
    for (std::size_t b = 0; b < kFeatureBands; ++b)
      std::copy(piece->bands[b].begin(), piece->bands[b].end(), features.bands[b].begin() + first);
  }
  return features;
}

class RateSearch {
 public:
  RateSearch(const OnsetFeatures& reference, const AnalysisSignal& track,
             const OnsetFeatures& features, const std::atomic<bool>* stop)
      : reference_(reference), track_(track), liveliness_(features), stop_(stop) {}

  Result<void> try_all(const std::vector<double>& ratios) {
    for (const double ratio : ratios) {
      const RateCorrectedSignal corrected(track_, ratio, RateCorrection::rough);
      const auto features = piecewise_features(corrected, liveliness_, ratio, stop_);
      if (!features) return features.error();
      trials_.push_back({ratio, first_map(reference_, *features, stop_).match_sigma});
      if (stop_ != nullptr && stop_->load())
        return Error{ErrorKind::interrupted, {}, "interrupted", ""};
    }
    return {};
  }

  RateTrial best() const { return *std::max_element(trials_.begin(), trials_.end(), by_match); }
  /// The best match of those that are not within the pull of one, or two pulls apart.
  double best_elsewhere_than(const RateTrial& one) const {
    double most = 0.0;
    for (const RateTrial& trial : trials_)
      if (std::abs(trial.ratio / one.ratio - 1.0) > 2.5 * (kPull - 1.0))
        most = std::max(most, trial.match_sigma);
    return most;
  }
  bool knows(double ratio) const {
    return std::any_of(trials_.begin(), trials_.end(), [&](const RateTrial& trial) {
      return std::abs(trial.ratio / ratio - 1.0) < kSameRatio;
    });
  }
  std::vector<RateTrial>&& take_trials() { return std::move(trials_); }

 private:
  static bool by_match(const RateTrial& a, const RateTrial& b) {
    return a.match_sigma < b.match_sigma;
  }

  const OnsetFeatures& reference_;
  const AnalysisSignal& track_;
  Liveliness liveliness_;
  const std::atomic<bool>* stop_;
  std::vector<RateTrial> trials_;
};

}  // namespace

Result<RateVerdict> find_rate(const OnsetFeatures& reference, const AnalysisSignal& track,
                              const OnsetFeatures& features, double header_rate_hz,
                              const FirstMap& as_headed, const RateSearchOptions& options) {
  RateVerdict verdict;
  verdict.true_rate_hz = header_rate_hz;
  if (reference.frames() == 0 || features.frames() == 0 || header_holds(as_headed)) return verdict;
  std::vector<double> ratios = likely_ratios(header_rate_hz, as_headed);
  if (options.likely_ratio) add_ratio(*options.likely_ratio, ratios);
  if (ratios.empty()) return verdict;

  const std::atomic<bool>* const stop = options.stop;
  RateSearch search(reference, track, features, stop);
  if (auto tried = search.try_all(ratios); !tried) return tried.error();
  const RateTrial plain = search.best();
  // A pulled rate under the header of a third one.
  std::vector<double> pulled;
  for (const double pull : {kPull, 1.0 / kPull})
    if (const double ratio = plain.ratio * pull;
        !search.knows(ratio) && std::abs(ratio - 1.0) > kSameRatio)
      add_ratio(ratio, pulled);
  if (auto tried = search.try_all(pulled); !tried) return tried.error();

  // Who talks for a minute only fits at both, and at either better by chance.
  RateTrial best = search.best();
  if (best.match_sigma < kAboveOthers * plain.match_sigma) best = plain;
  const double elsewhere = search.best_elsewhere_than(best);
  verdict.trials = search.take_trials();
  const double reference_s = static_cast<double>(reference.frames()) / kFeatureRateHz;
  const bool pulled_only = is_pull(best.ratio) && reference_s > kTellsPulled_s;
  const double above = pulled_only ? kPulledAboveAsHeaded : kAboveAsHeaded;
  if (best.match_sigma < kLeastMatch || best.match_sigma < above * as_headed.match_sigma ||
      best.match_sigma < kAboveOthers * elsewhere)
    return verdict;

  const RateCorrectedSignal corrected(track, best.ratio);
  auto whole = onset_features(corrected, stop, options.open_store);
  if (!whole) return whole.error();
  FirstMap map = first_map(reference, *whole, stop);
  if (stop != nullptr && stop->load()) return Error{ErrorKind::interrupted, {}, "interrupted", ""};
  if (!map.found || map.match_sigma < kAboveOthers * map.rival_sigma) return verdict;
  verdict.ratio = best.ratio;
  verdict.true_rate_hz = best.ratio * header_rate_hz;
  verdict.map = std::move(map);
  verdict.features = *std::move(whole);
  return verdict;
}

}  // namespace kilter::sync
