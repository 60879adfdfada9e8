#include "kilter/sync/first_map.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numeric>
#include <utility>

#include "kilter/signal/fft.h"
#include "wide_bands.h"

namespace kilter::sync {
namespace {

constexpr std::int64_t kChunk = 60 * kFeatureRateHz;
constexpr std::int64_t kHop = 30 * kFeatureRateHz;
constexpr std::size_t kMaxChunks = 48;
constexpr int kBlock = 15360;         // feature frames per transform: 2^10 * 15, faster than 2^14
constexpr std::size_t kTogether = 4;  // blocks that share one pass over the chunks
constexpr std::size_t kBinsTogether =
    128;  // of so many blocks' spectra that they stay in the cache
constexpr std::size_t kPeaksPerChunk = 6;
constexpr std::int64_t kPeakGuard = 20;  // frames between two peaks that count as two
constexpr double kFaintestVote = 5.0;    // below, a vote is chance and only costs time
constexpr double kMaxDriftPpm = 300.0;
constexpr double kAgreement_s = 0.015;  // half-width of a line
constexpr double kElsewhere_s = 0.2;    // a rival lies at least so far away
// Chance reaches 8 sigma in one chunk, and twice 6 in two chunks that overlap.
constexpr double kFoundInOne = 9.0;
constexpr double kFoundInAll = 10.0;
constexpr double kAboveRival = 1.3;
constexpr double kRivalInOne = 10.5;  // so strong, another line is no chance: the track has seams

/// Split, so that loops over bins vectorise.
struct Spectrum {
  std::vector<float> re;
  std::vector<float> im;
  void resize(std::size_t bins) {
    re.resize(bins);
    im.resize(bins);
  }
  Split split() { return {re, im}; }
  ConstSplit split() const { return {re, im}; }
};

using BandSpectra = std::array<Spectrum, kFeatureBands>;

double liveliness_of(const OnsetFeatures& track, std::int64_t first, std::int64_t length) {
  std::int64_t sum = 0;
  for (const auto& band : track.bands) {
    std::int32_t of_band = 0;  // at most 2^14 each
    for (std::int64_t t = first; t < first + length; ++t) {
      const std::int32_t v = band[static_cast<std::size_t>(t)];
      of_band += v * v;
    }
    sum += of_band;
  }
  return static_cast<double>(sum);
}

/// First frames of the chunks that vote: none in which nothing sets in.
std::vector<std::int64_t> choose_chunks(const OnsetFeatures& track, std::int64_t length) {
  std::vector<std::int64_t> starts;
  for (std::int64_t first = 0; first + length <= track.frames(); first += kHop)
    starts.push_back(first);
  if (starts.empty() || starts.back() + length < track.frames())
    starts.push_back(track.frames() - length);
  std::vector<double> liveliness;
  std::erase_if(starts, [&](std::int64_t first) {
    const double lively = liveliness_of(track, first, length);
    if (lively > 0.0) liveliness.push_back(lively);
    return lively <= 0.0;
  });
  if (starts.size() <= kMaxChunks) return starts;

  std::vector<std::size_t> order(starts.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return liveliness[a] > liveliness[b]; });
  std::vector<bool> chosen(starts.size(), false);
  for (std::size_t i = 0; i < kMaxChunks / 2; ++i) chosen[order[i]] = true;
  for (std::size_t i = 0; i < kMaxChunks / 2; ++i)
    chosen[i * (starts.size() - 1) / (kMaxChunks / 2 - 1)] = true;
  std::vector<std::int64_t> result;
  for (std::size_t i = 0; i < starts.size(); ++i)
    if (chosen[i]) result.push_back(starts[i]);
  return result;
}

struct Peak {
  double frame{0.0};  // lag in feature frames
  double value{0.0};
};

bool lower(const Peak& a, const Peak& b) { return a.value < b.value; }

/// Keeps the highest peaks that stand apart.
void keep_peak(std::vector<Peak>& peaks, const Peak& peak) {
  for (Peak& known : peaks) {
    if (std::abs(known.frame - peak.frame) >= static_cast<double>(kPeakGuard)) continue;
    if (peak.value > known.value) known = peak;
    return;
  }
  if (peaks.size() < kPeaksPerChunk) {
    peaks.push_back(peak);
    return;
  }
  const auto lowest = std::min_element(peaks.begin(), peaks.end(), lower);
  if (peak.value > lowest->value) *lowest = peak;
}

/// One chunk while the reference passes by.
struct Chunk {
  std::int64_t first{0};
  BandSpectra spectra;
  std::vector<Peak> peaks;
  double least{-1e30};  // a peak below is none of the highest
  double square_sum{0.0};
  double count{0.0};
};

double parabolic(double left, double centre, double right) {
  const double curvature = left - 2.0 * centre + right;
  return curvature < 0.0 ? 0.5 * (left - right) / curvature : 0.0;
}

class Correlator {
 public:
  Correlator(const OnsetFeatures& reference, std::int64_t length)
      : reference_(reference),
        length_(length),
        fft_(kBlock),
        buffer_(kBlock),
        bins_(static_cast<std::size_t>(fft_.bins())) {}

  Chunk make_chunk(const OnsetFeatures& track, std::int64_t first) {
    Chunk chunk;
    chunk.first = first;
    for (std::size_t b = 0; b < kFeatureBands; ++b) {
      std::fill(buffer_.begin(), buffer_.end(), 0.0F);
      std::transform(track.bands[b].begin() + first, track.bands[b].begin() + first + length_,
                     buffer_.begin(), to_float);
      transform(chunk.spectra[b]);
    }
    return chunk;
  }

  /// Correlates all chunks with the whole reference, a few blocks at a time.
  void run(std::vector<Chunk>& chunks, const std::atomic<bool>* stop) {
    const std::int64_t step = kBlock - length_ - 1;
    std::vector<BandSpectra> blocks;
    for (std::int64_t lag = -length_ + 1; lag < reference_.frames();) {
      if (stop != nullptr && stop->load()) return;
      blocks.resize(kTogether);
      std::size_t count = 0;
      const std::int64_t first_lag = lag;
      for (; count < kTogether && lag < reference_.frames(); lag += step, ++count)
        for (std::size_t b = 0; b < kFeatureBands; ++b) {
          load(reference_.bands[b], lag);
          transform(blocks[count][b]);
        }
      blocks.resize(count);
      add_up(chunks, blocks);
      for (std::size_t c = 0; c < chunks.size(); ++c)
        for (std::size_t i = 0; i < count; ++i)
          correlate(chunks[c], sums_[c * kTogether + i],
                    first_lag + static_cast<std::int64_t>(i) * step, step);
    }
  }

 private:
  static float to_float(std::int8_t onset) {
    return static_cast<float>(onset) / static_cast<float>(kFeatureSteps);
  }

  void transform(Spectrum& out) {
    fft_.forward(buffer_, bins_);
    out.resize(bins_.size());
    split(bins_.data(), out.split());
  }

  void load(const std::vector<std::int8_t>& band, std::int64_t first) {
    std::fill(buffer_.begin(), buffer_.end(), 0.0F);
    const std::int64_t from = std::max<std::int64_t>(first, 0);
    const std::int64_t to = std::min<std::int64_t>(first + kBlock, std::ssize(band));
    if (from < to)
      std::transform(band.begin() + from, band.begin() + to, buffer_.begin() + (from - first),
                     to_float);
  }

  static std::vector<ConstSplit> views(const BandSpectra& spectra) {
    std::vector<ConstSplit> all;
    for (const Spectrum& spectrum : spectra) all.push_back(spectrum.split());
    return all;
  }

  /// The cross spectra of every chunk with every block, summed over the bands: bins in the outer
  /// loop, so that the blocks' are fetched once for all chunks.
  void add_up(const std::vector<Chunk>& chunks, const std::vector<BandSpectra>& blocks) {
    std::vector<std::vector<ConstSplit>> of_block;
    for (const BandSpectra& block : blocks) of_block.push_back(views(block));
    std::vector<std::vector<ConstSplit>> of_chunk;
    for (const Chunk& chunk : chunks) of_chunk.push_back(views(chunk.spectra));
    sums_.resize(chunks.size() * kTogether);
    for (Spectrum& sum : sums_) sum.resize(bins_.size());
    for (std::size_t from = 0; from < bins_.size(); from += kBinsTogether) {
      const std::size_t to = std::min(bins_.size(), from + kBinsTogether);
      for (std::size_t c = 0; c < chunks.size(); ++c)
        for (std::size_t i = 0; i < blocks.size(); ++i) {
          const Split sum = sums_[c * kTogether + i].split();
          std::fill_n(sum.re.data() + from, to - from, 0.0F);
          std::fill_n(sum.im.data() + from, to - from, 0.0F);
          add_crosses(of_chunk[c], of_block[i], from, to, sum);
        }
    }
  }

  void correlate(Chunk& chunk, const Spectrum& sum, std::int64_t lag, std::int64_t step) {
    for (std::size_t k = 0; k < bins_.size(); ++k) bins_[k] = {sum.re[k], sum.im[k]};
    fft_.inverse(bins_, buffer_);
    const auto valid = static_cast<std::size_t>(std::min(step, reference_.frames() - lag));
    chunk.square_sum += sum_of_squares({buffer_.data(), valid});
    chunk.count += static_cast<double>(valid);
    for (std::size_t i = 0; i < valid; ++i) {
      const auto value = static_cast<double>(buffer_[i]);
      if (value <= chunk.least) continue;
      const double left = i > 0 ? static_cast<double>(buffer_[i - 1]) : -1e30;
      const auto right = static_cast<double>(buffer_[i + 1]);
      if (value < left || value <= right) continue;
      const double shift = i > 0 ? parabolic(left, value, right) : 0.0;
      keep_peak(chunk.peaks,
                {static_cast<double>(lag + static_cast<std::int64_t>(i)) + shift, value});
      if (chunk.peaks.size() == kPeaksPerChunk)
        chunk.least = std::min_element(chunk.peaks.begin(), chunk.peaks.end(), lower)->value;
    }
  }

  const OnsetFeatures& reference_;
  std::int64_t length_;
  RealFft fft_;
  FftVector<float> buffer_;
  FftVector<std::complex<float>> bins_;
  std::vector<Spectrum> sums_;  // by chunk, then block
};

std::vector<Vote> cast_votes(const OnsetFeatures& reference, const OnsetFeatures& track,
                             const std::atomic<bool>* stop) {
  const std::int64_t length = std::min(kChunk, track.frames());
  std::vector<Vote> votes;
  if (length <= 0 || reference.frames() <= 0) return votes;
  Correlator correlator(reference, length);
  std::vector<Chunk> chunks;
  for (const std::int64_t first : choose_chunks(track, length))
    chunks.push_back(correlator.make_chunk(track, first));
  correlator.run(chunks, stop);
  for (const Chunk& chunk : chunks) {
    const double rms = std::sqrt(chunk.square_sum / std::max(chunk.count, 1.0));
    if (rms <= 0.0) continue;
    for (const Peak& peak : chunk.peaks) {
      const double sigma = peak.value / rms;
      if (sigma < kFaintestVote) continue;
      votes.push_back({static_cast<double>(chunk.first + length / 2) / kFeatureRateHz,
                       (peak.frame - static_cast<double>(chunk.first)) / kFeatureRateHz, sigma});
    }
  }
  return votes;
}

struct VoteLine {
  double lag_s{0.0};
  double drift{0.0};  // lag falls by this per track second
  double support{-1.0};
};

double residual(const Vote& vote, const VoteLine& line) {
  return vote.lag_s + line.drift * vote.track_s - line.lag_s;
}

/// The line through most of the votes' squared sigmas; votes within `avoid` of `besides` are left
/// out.
VoteLine best_line(const std::vector<Vote>& votes, const VoteLine* besides) {
  double first_s = 1e300;
  double last_s = -1e300;
  std::vector<const Vote*> cast;
  for (const Vote& vote : votes) {
    if (besides != nullptr && std::abs(residual(vote, *besides)) < kElsewhere_s) continue;
    cast.push_back(&vote);
    first_s = std::min(first_s, vote.track_s);
    last_s = std::max(last_s, vote.track_s);
  }
  VoteLine best;
  if (cast.empty()) return best;
  const double reach_s = std::max(last_s - first_s, 1.0);
  const double step = std::max(0.5 * kAgreement_s / reach_s, 1e-7);
  const int steps = static_cast<int>(std::ceil(kMaxDriftPpm * 1e-6 / step));
  std::vector<std::pair<double, double>> lags(cast.size());  // lag at track time 0, weight
  for (int i = -steps; i <= steps; ++i) {
    const double drift = i * step;
    for (std::size_t v = 0; v < cast.size(); ++v)
      lags[v] = {cast[v]->lag_s + drift * cast[v]->track_s, cast[v]->sigma * cast[v]->sigma};
    std::sort(lags.begin(), lags.end());
    std::size_t from = 0;
    double sum = 0.0;
    double moment = 0.0;
    for (std::size_t to = 0; to < lags.size(); ++to) {
      sum += lags[to].second;
      moment += lags[to].second * lags[to].first;
      while (lags[to].first - lags[from].first > 2.0 * kAgreement_s) {
        sum -= lags[from].second;
        moment -= lags[from].second * lags[from].first;
        ++from;
      }
      // A steeper line must earn its steepness: of equal support the flattest wins.
      const double support = sum * (1.0 - 1e-3 * std::abs(drift) * 1e6 / kMaxDriftPpm);
      if (support > best.support) best = {moment / sum, drift, support};
    }
  }
  return best;
}

/// 3 ms per vote against a prior of 60 ppm round no drift at all.
double drift_prior(double sum_of_weights) {
  return sum_of_weights * (0.003 * 0.003) / (60e-6 * 60e-6);
}

/// Weighted least squares through the votes on the line; the slope is kept where they stand close.
void settle(VoteLine& line, const std::vector<Vote>& votes) {
  double sw = 0.0, st = 0.0, sl = 0.0, stt = 0.0, stl = 0.0;
  for (const Vote& vote : votes) {
    if (std::abs(residual(vote, line)) > 2.0 * kAgreement_s) continue;
    const double w = vote.sigma * vote.sigma;
    sw += w;
    st += w * vote.track_s;
    sl += w * vote.lag_s;
  }
  if (sw <= 0.0) return;
  const double mean_t = st / sw;
  const double mean_l = sl / sw;
  for (const Vote& vote : votes) {
    if (std::abs(residual(vote, line)) > 2.0 * kAgreement_s) continue;
    const double w = vote.sigma * vote.sigma;
    stt += w * (vote.track_s - mean_t) * (vote.track_s - mean_t);
    stl += w * (vote.track_s - mean_t) * (vote.lag_s - mean_l);
  }
  line.drift = -stl / (stt + drift_prior(sw));
  line.lag_s = mean_l + line.drift * mean_t;
}

/// Votes in order of time that stand on levels, the strongest such chain at one drift.
class VoteChain {
 public:
  VoteChain(const std::vector<Vote>& votes, double drift) : votes_(votes), drift_(drift) {
    const std::size_t count = votes.size();
    std::vector<double> score(count);
    std::vector<std::ptrdiff_t> previous(count, -1);
    for (std::size_t i = 0; i < count; ++i) {
      score[i] = say_of(votes[i]) - kNewLevel;
      for (std::size_t j = 0; j < i; ++j) {
        if (votes[j].track_s >= votes[i].track_s) continue;
        const double reached = score[j] + say_of(votes[i]) - cost_between(j, i);
        if (reached <= score[i]) continue;
        score[i] = reached;
        previous[i] = static_cast<std::ptrdiff_t>(j);
      }
    }
    if (count == 0) return;
    const auto best = std::max_element(score.begin(), score.end());
    score_ = *best;
    for (std::ptrdiff_t i = best - score.begin(); i >= 0; i = previous[static_cast<std::size_t>(i)])
      chain_.push_back(static_cast<std::size_t>(i));
    std::reverse(chain_.begin(), chain_.end());
  }

  double score() const { return score_; }

  /// The drift that the votes of every level agree on, and the lag of the level that has the most.
  VoteLine settled() const {
    std::vector<std::vector<std::size_t>> levels;
    for (std::size_t c = 0; c < chain_.size(); ++c) {
      if (c == 0 ||
          cost_between(chain_[c - 1], chain_[c]) >= cost_of_step(chain_[c - 1], chain_[c]))
        levels.emplace_back();
      levels.back().push_back(chain_[c]);
    }
    double weights = 0.0, stt = 0.0, stl = 0.0;
    VoteLine line;
    double mean_t = 0.0, mean_l = 0.0;
    for (const auto& level : levels) {
      double sw = 0.0, st = 0.0, sl = 0.0;
      for (const std::size_t i : level) {
        sw += say_of(votes_[i]);
        st += say_of(votes_[i]) * votes_[i].track_s;
        sl += say_of(votes_[i]) * votes_[i].lag_s;
      }
      for (const std::size_t i : level) {
        const double t = votes_[i].track_s - st / sw;
        stt += say_of(votes_[i]) * t * t;
        stl += say_of(votes_[i]) * t * (votes_[i].lag_s - sl / sw);
      }
      weights += sw;
      if (sw <= line.support) continue;
      line.support = sw;
      mean_t = st / sw;
      mean_l = sl / sw;
    }
    line.drift = -stl / (stt + drift_prior(weights));
    line.lag_s = mean_l + line.drift * mean_t;
    return line;
  }

 private:
  static constexpr double kNewLevel = 150.0;    // squared sigmas: more than any chance vote has
  static constexpr double kVoteError_s = 5e-3;  // half a feature frame

  static double say_of(const Vote& vote) { return vote.sigma * vote.sigma; }

  double lesser_say(std::size_t a, std::size_t b) const {
    return std::min(say_of(votes_[a]), say_of(votes_[b]));
  }
  /// As much as a vote brings, and more than one cast by chance.
  double cost_of_step(std::size_t a, std::size_t b) const {
    return std::max(kNewLevel, lesser_say(a, b));
  }
  double cost_between(std::size_t a, std::size_t b) const {
    const double away_s =
        votes_[b].lag_s - votes_[a].lag_s + drift_ * (votes_[b].track_s - votes_[a].track_s);
    if (std::abs(away_s) > 2.0 * kAgreement_s) return cost_of_step(a, b);
    const double errors = away_s / kVoteError_s;
    return std::min(cost_of_step(a, b), 0.25 * lesser_say(a, b) * errors * errors);
  }

  const std::vector<Vote>& votes_;
  double drift_;
  double score_{0.0};
  std::vector<std::size_t> chain_;
};

}  // namespace

FirstMap with_drift_between_steps(FirstMap map) {
  std::vector<Vote> votes = map.votes;
  std::stable_sort(votes.begin(), votes.end(),
                   [](const Vote& a, const Vote& b) { return a.track_s < b.track_s; });
  constexpr double kStep = 5e-6;
  constexpr int kSteps = 60;
  static_assert(kStep * kSteps * 1e6 == kMaxDriftPpm);
  double best_drift = 0.0;
  double best = 0.0;
  for (int i = -kSteps; i <= kSteps; ++i) {
    // Of equal chains the flattest wins.
    const double score = VoteChain(votes, i * kStep).score() * (1.0 - 1e-3 * std::abs(i) / kSteps);
    if (score <= best) continue;
    best = score;
    best_drift = i * kStep;
  }
  if (best <= 0.0) return map;
  const VoteLine line = VoteChain(votes, best_drift).settled();
  map.lag_s = line.lag_s;
  map.drift_ppm = line.drift * 1e6;
  return map;
}

FirstMap first_map(const OnsetFeatures& reference, const OnsetFeatures& track,
                   const std::atomic<bool>* stop) {
  FirstMap map;
  map.votes = cast_votes(reference, track, stop);
  if (stop != nullptr && stop->load()) return map;
  VoteLine line = best_line(map.votes, nullptr);
  if (line.support <= 0.0) return map;
  const VoteLine rival = best_line(map.votes, &line);
  map.match_sigma = std::sqrt(line.support);
  map.rival_sigma = std::sqrt(std::max(rival.support, 0.0));
  for (const Vote& vote : map.votes)
    if (std::abs(residual(vote, line)) < 2.0 * kAgreement_s)
      map.best_vote = std::max(map.best_vote, vote.sigma);
  settle(line, map.votes);
  map.lag_s = line.lag_s;
  map.drift_ppm = line.drift * 1e6;
  double best_elsewhere = 0.0;
  for (const Vote& vote : map.votes)
    if (std::abs(residual(vote, rival)) < kAgreement_s)
      best_elsewhere = std::max(best_elsewhere, vote.sigma);
  const bool both_true =
      rival.support > 0.0 && best_elsewhere >= kRivalInOne && map.best_vote >= kRivalInOne;
  map.found = (map.best_vote >= kFoundInOne || map.match_sigma >= kFoundInAll) &&
              (both_true || map.match_sigma >= kAboveRival * map.rival_sigma);
  return map;
}

}  // namespace kilter::sync
