#include "kilter/sync/strays.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>
#include <span>

#include "kilter/signal/fft.h"
#include "kilter/signal/wide_loops.h"

namespace kilter::sync {
namespace {

constexpr std::int64_t kBlock = kAnalysisRateHz / 4;
constexpr double kBlock_s = static_cast<double>(kBlock) / kAnalysisRateHz;
constexpr std::int64_t kPageBlocks = 64;
constexpr double kOneStretch_s = 1e-6;
constexpr float kBrighten = 0.9F;  // first difference, so that the voice's pitch does not decide
constexpr double kLoud = 0.06;     // of the loudest blocks' mean power
constexpr double kLoudest = 0.02;  // so many of the blocks that sound
constexpr double kSounds = 0.01;   // of the loudest block's power
constexpr double kMissing = 0.35;  // of the track's usual gain in the mix
constexpr double kInPlace = 0.6;
constexpr int kLeastInPlace = 2;   // blocks
constexpr int kLongestPhrase = 6;  // blocks searched for together
constexpr int kMostPhrases = 80;   // of one track
constexpr int kFft = 1 << 18;
constexpr double kBandFrom_hz = 150.0;
constexpr double kBandTo_hz = 7000.0;
constexpr double kLevelling_hz = 100.0;
constexpr double kLeastPeakSigma = 9.0;
constexpr double kLeastCorrelation = 0.25;
constexpr double kMostRival = 0.7;
constexpr double kRivalGuard_s = 0.002;
// A passage: phrases at an end of a stretch that are found nowhere near, searched for together.
constexpr std::size_t kLongestPassage = 24;  // blocks
constexpr double kLeastPassage_s = 1.0;      // of it loud
constexpr double kLeastFarSigma = 14.0;      // chance has some hundred times as many places
constexpr double kSamePassage_s = 0.050;     // by which its phrases may differ

/// A quarter of a second of the track where its map puts it in the mix.
struct Block {
  double track_s{0.0};  // where it begins
  double mix_s{0.0};
  std::size_t stretch{0};  // of the map, between two seams
  double power{0.0};
  double cross{0.0};
};

struct Sums {
  double power{0.0};
  double cross{0.0};
};

KILTER_WIDE Sums sums_of(const float* x, const float* y) {
  Float8 power{}, cross{}, a{}, b{}, a_before{}, b_before{};
  for (std::int64_t i = 0; i < kBlock; i += 8) {
    load(x + i + 1, a);
    load(x + i, a_before);
    load(y + i + 1, b);
    load(y + i, b_before);
    a -= kBrighten * a_before;
    b -= kBrighten * b_before;
    power += a * a;
    cross += a * b;
  }
  Sums sums;
  for (int lane = 0; lane < 8; ++lane) {
    sums.power += static_cast<double>(power[lane]);
    sums.cross += static_cast<double>(cross[lane]);
  }
  return sums;
}

/// out = conj(a) * b
KILTER_WIDE void multiply_conjugate(std::span<const std::complex<float>> a,
                                    std::span<const std::complex<float>> b,
                                    std::span<std::complex<float>> out) {
  const auto* const x = reinterpret_cast<const float*>(a.data());
  const auto* const y = reinterpret_cast<const float*>(b.data());
  auto* const z = reinterpret_cast<float*>(out.data());
  for (std::size_t i = 0; i < 2 * out.size(); i += 2) {
    z[i] = x[i] * y[i] + x[i + 1] * y[i + 1];
    z[i + 1] = x[i] * y[i + 1] - x[i + 1] * y[i];
  }
}

/// Which spans follow one another without a seam.
std::vector<std::size_t> stretches_of(std::span<const Span> spans) {
  std::vector<std::size_t> stretches(spans.size(), 0);
  for (std::size_t i = 1; i < spans.size(); ++i) {
    const bool goes_on = spans[i].from_s - spans[i - 1].to_s < kOneStretch_s &&
                         spans[i].line_from_s - spans[i - 1].line_to_s < kOneStretch_s;
    stretches[i] = stretches[i - 1] + (goes_on ? 0 : 1);
  }
  return stretches;
}

Result<std::vector<Block>> read_blocks(const AnalysisSignal& mix, const MappedTrack& track,
                                       const std::atomic<bool>* stop) {
  std::vector<Block> blocks;
  const std::int64_t all = mix.frames() / kBlock;
  std::vector<float> page;
  std::vector<float> ahead(static_cast<std::size_t>(kPageBlocks * kBlock + 1));  // of the track
  std::int64_t ahead_first = -2 * std::ssize(ahead);
  const auto spans = track.map->spans();
  const std::vector<std::size_t> stretches = stretches_of(spans);
  for (std::int64_t first = 0; first < all; first += kPageBlocks) {
    if (stop != nullptr && stop->load()) break;
    page.resize(static_cast<std::size_t>(kPageBlocks * kBlock + 1));
    if (auto read = mix.read(first * kBlock - 1, page); !read) return read.error();
    for (std::int64_t b = first; b < std::min(all, first + kPageBlocks); ++b) {
      const double mix_s = static_cast<double>(b) * kBlock_s;
      const auto from_s = track.map->to_track(mix_s);
      const auto to_s = track.map->to_track(mix_s + kBlock_s);
      if (!from_s || !to_s) continue;
      const auto stretch_at = [&](double track_s) {
        std::size_t span = 0;
        while (span + 1 < spans.size() && spans[span].to_s < track_s) ++span;
        return stretches[span];
      };
      // One that reaches over a seam lies on neither side.
      const std::size_t stretch = stretch_at(*from_s);
      if (stretch_at(*to_s) != stretch) continue;
      Block block{*from_s, mix_s, stretch, 0.0, 0.0};
      const double middle_s = 0.5 * (*from_s + *to_s);
      const auto at = std::llround(middle_s * kAnalysisRateHz) - kBlock / 2;
      if (at - 1 < ahead_first || at + kBlock > ahead_first + std::ssize(ahead)) {
        ahead_first = at - 1;
        if (auto read = track.signal->read(ahead_first, ahead); !read) return read.error();
      }
      const Sums sums = sums_of(&ahead[static_cast<std::size_t>(at - 1 - ahead_first)],
                                page.data() + (b - first) * kBlock);
      block.power = sums.power;
      block.cross = sums.cross;
      blocks.push_back(block);
    }
  }
  return blocks;
}

/// Power above which a block counts as loud: own speech, not the room's.
double loud_power(const std::vector<Block>& blocks) {
  std::vector<double> powers;
  double most = 0.0;
  for (const Block& block : blocks) most = std::max(most, block.power);
  for (const Block& block : blocks)
    if (block.power > kSounds * most) powers.push_back(block.power);
  if (powers.empty()) return 0.0;
  std::sort(powers.begin(), powers.end(), std::greater<>());
  const auto count = static_cast<std::size_t>(
      std::max(3.0, std::ceil(kLoudest * static_cast<double>(powers.size()))));
  double sum = 0.0;
  for (std::size_t i = 0; i < std::min(count, powers.size()); ++i) sum += powers[i];
  return kLoud * sum / static_cast<double>(std::min(count, powers.size()));
}

double median(std::vector<double> values) {
  const auto middle = values.begin() + std::ssize(values) / 2;
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// Blocks in a row that are loud, or nearly so, and not in place.
struct Phrase {
  std::size_t first{0};
  std::size_t last{0};
};

/// Where in its neighbourhood a phrase fits best.
struct Match {
  bool found{false};
  double offset_s{0.0};
  double peak_sigma{0.0};
  double correlation{0.0};
};

class Search {
 public:
  Search(const AnalysisSignal& mix, const MappedTrack& track, const StrayOptions& options)
      : mix_(mix), track_(track), options_(options) {}

  Result<Whereabouts> run() {
    auto blocks = read_blocks(mix_, track_, options_.stop);
    if (!blocks) return blocks.error();
    blocks_ = *std::move(blocks);
    Whereabouts result;
    judge_blocks();
    result.least_in_place = least_in_place();
    std::vector<Phrase> nowhere;
    for (const Phrase& phrase : phrases()) {
      if (stopped()) break;
      auto match = look_for(phrase);
      if (!match) return match.error();
      if (!match->found && !amid_others(phrase)) nowhere.push_back(phrase);
      if (match->found && std::abs(match->offset_s) >= options_.least_s)
        result.elsewhere.push_back(stray_of(phrase, *match));
    }
    if (auto done = look_further(std::move(nowhere), result); !done) return done.error();
    return result;
  }

 private:
  bool stopped() const { return options_.stop != nullptr && options_.stop->load(); }

  void judge_blocks() {
    const double loud = loud_power(blocks_);
    std::vector<double> gains;
    for (const Block& block : blocks_)
      if (loud > 0.0 && block.power > loud) gains.push_back(block.cross / block.power);
    loud_.assign(blocks_.size(), 0);
    gain_.assign(blocks_.size(), 0.0);
    if (gains.empty()) return;
    // Most of what it says is in place, or its map would not be believed.
    const double usual = median(gains);
    if (usual == 0.0) return;
    sign_ = usual < 0.0 ? -1.0 : 1.0;
    for (std::size_t b = 0; b < blocks_.size(); ++b) {
      loud_[b] = blocks_[b].power > loud ? 1 : 0;
      gain_[b] = blocks_[b].power > 0.0 ? blocks_[b].cross / blocks_[b].power / usual : 0.0;
    }
  }

  bool missing(std::size_t b) const { return loud_[b] != 0 && gain_[b] < kMissing; }
  bool in_place(std::size_t b) const { return loud_[b] != 0 && gain_[b] > kInPlace; }

  std::vector<Phrase> phrases() const {
    std::vector<Phrase> found;
    for (std::size_t b = 0; b < blocks_.size(); ++b) {
      if (!missing(b)) continue;
      const bool continues =
          !found.empty() && blocks_[b].mix_s - blocks_[found.back().last].mix_s < 2.5 * kBlock_s &&
          blocks_[b].stretch == blocks_[found.back().first].stretch &&
          b - found.back().first < kLongestPhrase && !any_in_place(found.back().last, b);
      if (continues)
        found.back().last = b;
      else
        found.push_back({b, b});
    }
    // Where there are too many, the map is not believed anyway.
    if (found.size() > kMostPhrases) found.resize(kMostPhrases);
    return found;
  }

  int least_in_place() const {
    std::vector<int> counts(stretches_of(track_.map->spans()).back() + 1, 0);
    for (std::size_t b = 0; b < blocks_.size(); ++b)
      if (in_place(b)) ++counts[blocks_[b].stretch];
    return *std::min_element(counts.begin(), counts.end());
  }

  bool any_in_place(std::size_t from, std::size_t to) const {
    for (std::size_t b = from; b <= to; ++b)
      if (in_place(b)) return true;
    return false;
  }

  /// Whether what the track says on the same span, before and after the phrase, is in place.
  bool amid_others(const Phrase& phrase) const {
    int before = 0;
    int after = 0;
    for (std::size_t b = 0; b < blocks_.size(); ++b) {
      if (blocks_[b].stretch != blocks_[phrase.first].stretch || !in_place(b)) continue;
      if (b < phrase.first) ++before;
      if (b > phrase.last) ++after;
    }
    return before >= kLeastInPlace && after >= kLeastInPlace;
  }

  double loud_s(const Phrase& phrase) const {
    double sum_s = 0.0;
    for (std::size_t b = phrase.first; b <= phrase.last; ++b) sum_s += missing(b) ? kBlock_s : 0.0;
    return sum_s;
  }

  /// What is found nowhere near, an end of a stretch at a time.
  Result<void> look_further(std::vector<Phrase> nowhere, Whereabouts& result) {
    for (std::size_t from = 0; from < nowhere.size() && !stopped();) {
      std::size_t to = from + 1;
      while (to < nowhere.size() && at_same_end(nowhere[from], nowhere[to])) ++to;
      const std::span<const Phrase> end(nowhere.data() + from, to - from);
      from = to;
      const auto off_s = far_offset_s(end);
      if (!off_s) return off_s.error();
      for (const Phrase& phrase : end) {
        auto match = *off_s ? look_for(phrase, **off_s) : Match{};
        if (!match) return match.error();
        if (match->found && std::abs(match->offset_s - **off_s) < kSamePassage_s) {
          result.elsewhere.push_back(stray_of(phrase, *match));
        } else {
          result.nowhere_s += loud_s(phrase);
          result.nowhere_at_s = blocks_[phrase.first].track_s;
        }
      }
    }
    std::stable_sort(result.elsewhere.begin(), result.elsewhere.end(),
                     [](const Stray& a, const Stray& b) { return a.track_s < b.track_s; });
    return {};
  }

  /// Of two phrases that lie at an end of their stretch: whether no other sound is in place between
  /// them.
  bool at_same_end(const Phrase& a, const Phrase& b) const {
    return blocks_[a.first].stretch == blocks_[b.first].stretch && !any_in_place(a.last, b.first);
  }

  /// By how much later than mapped the mix has these phrases, where it has them within far reach;
  /// nothing where it does not, or where they are too little to tell.
  Result<std::optional<double>> far_offset_s(std::span<const Phrase> phrases) {
    // Of all passages that are short enough the one that says the most.
    Phrase passage{};
    double most_s = 0.0;
    for (std::size_t i = 0; i < phrases.size(); ++i) {
      double sum_s = 0.0;
      for (std::size_t j = i; j < phrases.size(); ++j) {
        if (phrases[j].last - phrases[i].first >= kLongestPassage ||
            is_broken(phrases[i].first, phrases[j].last))
          break;
        sum_s += loud_s(phrases[j]);
        if (sum_s <= most_s) continue;
        most_s = sum_s;
        passage = {phrases[i].first, phrases[j].last};
      }
    }
    if (most_s < kLeastPassage_s) return std::optional<double>{};
    const auto length = length_of(passage);
    const double hop_s = static_cast<double>(kFft - length) / kAnalysisRateHz - 2.0 * kRivalGuard_s;
    Match best;
    Match second;
    for (double at_s = -options_.far_s; at_s < options_.far_s && !stopped(); at_s += hop_s) {
      const double mix_s = blocks_[passage.first].mix_s + at_s;
      if (mix_s + hop_s < 0.0 || mix_s * kAnalysisRateHz > static_cast<double>(mix_.frames()))
        continue;
      auto match = look_for(passage, at_s + 0.5 * hop_s, 0.5 * hop_s);
      if (!match) return match.error();
      if (match->peak_sigma <= second.peak_sigma) continue;
      second = *match;
      if (second.peak_sigma > best.peak_sigma) std::swap(best, second);
    }
    const bool found = best.found && best.peak_sigma >= kLeastFarSigma &&
                       second.peak_sigma <= kMostRival * best.peak_sigma;
    return found ? std::optional(best.offset_s) : std::nullopt;
  }

  /// Whether blocks are missing between two: the map has a hole there.
  bool is_broken(std::size_t from, std::size_t to) const {
    const double blocks_s = static_cast<double>(to - from) * kBlock_s;
    return std::abs(blocks_[to].mix_s - blocks_[from].mix_s - blocks_s) > 0.5 * kBlock_s;
  }

  static std::int64_t length_of(const Phrase& phrase) {
    return static_cast<std::int64_t>(phrase.last - phrase.first + 1) * kBlock;
  }

  Result<Match> look_for(const Phrase& phrase) { return look_for(phrase, 0.0, options_.search_s); }
  Result<Match> look_for(const Phrase& phrase, double round_s) {
    return look_for(phrase, round_s, options_.search_s);
  }

  /// Searches so far to both sides of where the map, and `round_s` later, puts the phrase.
  Result<Match> look_for(const Phrase& phrase, double round_s, double reach_s) {
    const Block& first = blocks_[phrase.first];
    const auto length = length_of(phrase);
    const auto reach = static_cast<std::int64_t>(reach_s * kAnalysisRateHz);
    const auto moved = std::llround(round_s * kAnalysisRateHz);
    sound_.assign(kFft, 0.0F);
    around_.assign(kFft, 0.0F);
    const auto track_at = std::llround(first.track_s * kAnalysisRateHz);
    const auto mix_at = std::llround(first.mix_s * kAnalysisRateHz);
    if (auto read =
            track_.signal->read(track_at, {sound_.data(), static_cast<std::size_t>(length)});
        !read)
      return read.error();
    const auto around_length = static_cast<std::size_t>(length + 2 * reach);
    if (auto read = mix_.read(mix_at + moved - reach, {around_.data(), around_length}); !read)
      return read.error();
    fft_.forward(sound_, sound_bins_);
    fft_.forward(around_, around_bins_);
    level(sound_bins_);
    level(around_bins_);
    // The levelled signals, for their energies; then their correlation.
    cross_.resize(sound_bins_.size());
    multiply_conjugate(sound_bins_, around_bins_, cross_);
    double power = 0.0;
    for (const auto& bin : sound_bins_) power += 2.0 * static_cast<double>(std::norm(bin));
    power /= kFft;
    fft_.inverse(around_bins_, around_);
    fft_.inverse(cross_, sound_);
    Match match = best_match(phrase, length, reach, power);
    match.offset_s += static_cast<double>(moved) / kAnalysisRateHz;
    return match;
  }

  /// Divides by the spectrum smoothed over 100 Hz, inside the band; 0 outside it.
  void level(FftVector<std::complex<float>>& bins) {
    constexpr std::size_t kGroup = 16;  // bins: 1 Hz, over which what is smoothed hardly changes
    constexpr double kGroup_hz = static_cast<double>(kAnalysisRateHz) / kFft * kGroup;
    constexpr auto kFirst = static_cast<std::size_t>(kBandFrom_hz / kGroup_hz);
    constexpr auto kLast = static_cast<std::size_t>(kBandTo_hz / kGroup_hz);
    constexpr auto kReach = static_cast<std::size_t>(0.5 * kLevelling_hz / kGroup_hz);
    const std::size_t groups = bins.size() / kGroup;
    running_.assign(groups + 1, 0.0);
    for (std::size_t g = 0; g < groups; ++g) {
      float power = 0.0F;
      for (std::size_t b = g * kGroup; b < (g + 1) * kGroup; ++b) power += std::norm(bins[b]);
      running_[g + 1] = running_[g] + static_cast<double>(power);
    }
    const double least = 1e-9 * running_.back() + 1e-30;
    std::fill(bins.begin(), bins.begin() + kFirst * kGroup, std::complex<float>{});
    std::fill(bins.begin() + (kLast + 1) * kGroup, bins.end(), std::complex<float>{});
    for (std::size_t g = kFirst; g <= kLast; ++g) {
      const std::size_t from = g - std::min(g, kReach);
      const std::size_t to = std::min(groups, g + kReach + 1);
      const auto share = static_cast<float>(1.0 / std::sqrt(running_[to] - running_[from] + least));
      for (std::size_t b = g * kGroup; b < (g + 1) * kGroup; ++b) bins[b] *= share;
    }
  }

  Match best_match(const Phrase& phrase, std::int64_t length, std::int64_t reach,
                   double power) const {
    // sound_ holds the correlation at lag - reach now, around_ the levelled mix; both kFft times.
    const auto lags = static_cast<std::size_t>(2 * reach + 1);
    double square = 0.0;
    std::size_t best = 0;
    const auto value = [&](std::size_t lag) { return sign_ * static_cast<double>(sound_[lag]); };
    for (std::size_t lag = 0; lag < lags; ++lag) {
      square += value(lag) * value(lag);
      if (value(lag) > value(best)) best = lag;
    }
    double rival = 0.0;
    const auto guard = static_cast<std::int64_t>(kRivalGuard_s * kAnalysisRateHz);
    for (std::size_t lag = 0; lag < lags; ++lag)
      if (std::abs(static_cast<std::int64_t>(lag) - static_cast<std::int64_t>(best)) > guard)
        rival = std::max(rival, value(lag));
    double local = 0.0;
    for (std::int64_t i = 0; i < length; ++i) {
      const auto y = static_cast<double>(around_[best + static_cast<std::size_t>(i)]);
      local += y * y;
    }
    const double rms = std::sqrt(square / static_cast<double>(lags));
    const double peak = value(best);
    Match match;
    if (!(rms > 0.0) || !(local > 0.0) || best == 0 || best + 1 >= lags) return match;
    match.peak_sigma = peak / rms;
    match.correlation = peak / std::sqrt(power * local);
    match.found = match.peak_sigma >= kLeastPeakSigma && rival <= kMostRival * peak &&
                  match.correlation >= kLeastCorrelation;
    const double left = value(best - 1);
    const double right = value(best + 1);
    const double bend = left - 2.0 * peak + right;
    const double between = bend < 0.0 ? 0.5 * (left - right) / bend : 0.0;
    match.offset_s = (static_cast<double>(best) - static_cast<double>(reach) +
                      std::clamp(between, -0.5, 0.5) + rounding(phrase)) /
                     kAnalysisRateHz;
    return match;
  }

  Stray stray_of(const Phrase& phrase, const Match& match) const {
    const Block& first = blocks_[phrase.first];
    const double half_s = 0.5 * kBlock_s * static_cast<double>(phrase.last - phrase.first + 1);
    Stray stray;
    stray.track_s = first.track_s + half_s;
    stray.mapped_s = first.mix_s + half_s;
    stray.mix_s = stray.mapped_s + match.offset_s;
    stray.peak_sigma = match.peak_sigma;
    stray.correlation = match.correlation;
    stray.amid_others = amid_others(phrase);
    return stray;
  }

  /// Both signals were read from whole frames: what that adds to the offset.
  double rounding(const Phrase& phrase) const {
    const Block& first = blocks_[phrase.first];
    const double track = first.track_s * kAnalysisRateHz;
    const double mix = first.mix_s * kAnalysisRateHz;
    return (std::round(mix) - mix) - (std::round(track) - track);
  }

  const AnalysisSignal& mix_;
  const MappedTrack& track_;
  const StrayOptions& options_;
  std::vector<Block> blocks_;
  std::vector<char> loud_;
  std::vector<double> gain_;  // over the usual one
  double sign_{1.0};
  RealFft fft_{kFft};
  FftVector<float> sound_;
  FftVector<float> around_;
  FftVector<std::complex<float>> sound_bins_ =
      FftVector<std::complex<float>>(static_cast<std::size_t>(fft_.bins()));
  FftVector<std::complex<float>> around_bins_ = sound_bins_;
  FftVector<std::complex<float>> cross_;
  std::vector<double> running_;
};

}  // namespace

Result<Whereabouts> find_strays(const AnalysisSignal& mix, const MappedTrack& track,
                                const StrayOptions& options) {
  return Search(mix, track, options).run();
}

}  // namespace kilter::sync
