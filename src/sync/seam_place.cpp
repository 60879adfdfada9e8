#include "kilter/sync/seam_place.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <span>
#include <utility>

#include "exact_marks.h"
#include "seam_evidence.h"

namespace kilter::sync {
namespace {

constexpr double kBin_s = kSeamBin_s;
constexpr double kLongest_s = 900.0;  // of mix looked through; a longer silence is cut short
constexpr double kContext_s = 8.0;    // on either side, to learn the level in the mix
constexpr double kPlateau = 0.03;     // average speech bins that the place may be off the best
constexpr double kChance_sigma = 2.0;
constexpr double kFreedom = 15.0;  // independent values in a bin
constexpr double kSilent = 0.003;  // of a bin of speech
constexpr double kSounding = 0.1;
constexpr double kSmoothing_bins = 4.0;  // of the level in which the quietest point is sought
constexpr double kLeastRepeat_s = 0.015;
constexpr double kMostRepeat_s = 30.0;
// Than the step: what stands beside them may be silent too, and the rate reduction smears it in.
constexpr double kLongerZeros_s = 0.010;
constexpr double kShorterZeros_s = 0.006;
constexpr double kLeastPadding_s = 0.018;
constexpr std::size_t kPauseBins = 12;
constexpr double kNearZeros_s = 0.020;
constexpr double kCrossed_bins = 0.25;  // of speech, between the best place and the quietest
constexpr double kAgainst_bins = 20.0;  // of speech, that zeros as long as the step outweigh
constexpr double kLongestGap_s = 60.0;  // looked through for a repeat

/// What a bin of speech brings: of the loudest twentieth, since most may be silence.
double speech_power(std::vector<double> power) {
  const auto at = power.begin() + (std::ssize(power) - 1) * 19 / 20;
  std::nth_element(power.begin(), at, power.end());
  const double loudest = *std::max_element(at, power.end());
  return std::max(*at, 0.05 * loudest);
}

/// Smoothed level of what would sound at the cut.
std::vector<double> loudness(const std::vector<double>& power) {
  std::vector<double> out(power.size());
  const double keep = 1.0 - 1.0 / kSmoothing_bins;
  double forward = power.empty() ? 0.0 : power.front();
  for (std::size_t b = 0; b < power.size(); ++b) {
    forward = keep * forward + (1.0 - keep) * power[b];
    out[b] = forward;
  }
  double backward = power.empty() ? 0.0 : power.back();
  for (std::size_t b = power.size(); b-- > 0;) {
    backward = keep * backward + (1.0 - keep) * power[b];
    out[b] += backward;
  }
  return out;
}

/// One seam between the lines of its witnesses: bins of the mix, and what each line explains there.
class SeamSearch {
 public:
  SeamSearch(const AnalysisSignal& mix, const std::vector<SeamWitness>& witnesses, double step_s,
             double from_s, double to_s, SeamIn seam_in)
      : mix_(mix),
        witnesses_(witnesses),
        witness_(witnesses.front()),
        step_s_(step_s),
        lost_s_(std::max(step_s, 0.0)),
        from_s_(std::max(from_s, to_s - kLongest_s)),
        to_s_(to_s),
        seam_in_(seam_in) {
    const double mix_length_s = static_cast<double>(mix.frames()) / kAnalysisRateHz;
    const double last_s = std::min(mix_length_s, to_s_ + lost_s_ + kContext_s);
    first_s_ = std::max(0.0, from_s_ - kContext_s);
    first_ = static_cast<std::int64_t>(std::floor(first_s_ * kAnalysisRateHz));
    bins_ = static_cast<std::size_t>(
        std::max(1.0, std::floor((last_s - first_s_) * kAnalysisRateHz / kSeamBin)));
    lost_ = static_cast<std::size_t>(std::lround(lost_s_ / kBin_s));
    search_from_ = bin_of(from_s_);
    search_to_ = std::max(search_from_, bin_of(to_s_));
  }

  Result<SeamPlace> run(const std::vector<SteadyTrack>& steady) {
    auto evidence = seam_evidence(mix_, witnesses_, steady, first_, bins_);
    if (!evidence) return evidence.error();
    seen_ = *std::move(evidence);
    learn_chance();
    find_score();
    find_pause();
    put(second_of(choose_quietest()));
    tell_evidence();
    for (const auto look :
         {&SeamSearch::look_for_repeat, &SeamSearch::look_for_padding, &SeamSearch::look_for_zeros,
          &SeamSearch::look_for_far_zeros, &SeamSearch::look_for_far_repeat}) {
      const auto is_itself = (this->*look)();
      if (!is_itself) return is_itself.error();
      if (*is_itself) break;
    }
    return place_;
  }

 private:
  std::size_t bin_of(double mix_s) const {
    return static_cast<std::size_t>(
        std::clamp((mix_s - first_s_) / kBin_s, 0.0, static_cast<double>(bins_)));
  }
  double second_of(std::size_t bin) const {
    return first_s_ + static_cast<double>(bin + search_from_) * kBin_s;
  }
  double pause_from_s() const { return second_of(low_); }
  double pause_to_s() const { return second_of(high_); }
  bool is_surely_in_mix() const { return seam_in_ == SeamIn::mix; }
  double before_at(std::size_t b) const { return b < bins_ ? seen_.power_before[b] : 0.0; }
  double after_at(std::size_t b) const {
    return b + lost_ < bins_ ? seen_.power_after[b + lost_] : 0.0;
  }

  void learn_chance() {
    speech_ = std::max(speech_power(seen_.power_before), speech_power(seen_.power_after));
    // Variance of what a bin says on either line, where others sound in the mix.
    chance_before_.resize(bins_);
    chance_after_.resize(bins_);
    for (std::size_t b = 0; b < bins_; ++b) {
      const double rest = 4.0 * seen_.rest[b] / kFreedom;
      chance_before_[b] = rest * seen_.power_before[b];
      chance_after_[b] = rest * seen_.power_after[b];
    }
    // Where the witnesses are silent on a line, only chance speaks for or against it.
    for (std::size_t b = 0; b < bins_; ++b) {
      if (seen_.power_before[b] < kSilent * speech_) seen_.before[b] = 0.0;
      if (seen_.power_after[b] < kSilent * speech_) seen_.after[b] = 0.0;
    }
  }

  /// score_[s]: explained with the old line up to bin s and the new one from s + lost on.
  void find_score() {
    score_.resize(search_to_ + 1 - search_from_);
    double sum = 0.0;
    for (std::size_t s = search_from_; s <= search_to_; ++s) {
      if (s > search_from_) {
        sum += seen_.before[s - 1];
        if (s - 1 + lost_ < bins_) sum -= seen_.after[s - 1 + lost_];
      }
      score_[s - search_from_] = sum;
      if (sum > score_[best_]) best_ = s - search_from_;
    }
  }

  /// Variance of what moving the place over one bin changes.
  double chance_of(std::size_t s) const {
    const std::size_t b = s + search_from_;
    return (b < bins_ ? chance_before_[b] : 0.0) +
           (b + lost_ < bins_ ? chance_after_[b + lost_] : 0.0);
  }

  /// How far from the best place all is explained as well, or nearly.
  void find_pause() {
    const auto allowed = [&](double variance) {
      return kPlateau * speech_ + kChance_sigma * std::sqrt(variance);
    };
    low_ = high_ = best_;
    double variance = 0.0;
    while (low_ > 0) {
      variance += chance_of(low_ - 1);
      if (score_[low_ - 1] <= score_[best_] - allowed(variance)) break;
      --low_;
    }
    variance = 0.0;
    while (high_ + 1 < score_.size()) {
      variance += chance_of(high_);
      if (score_[high_ + 1] <= score_[best_] - allowed(variance)) break;
      ++high_;
    }
  }

  std::size_t choose_quietest() const {
    if (high_ == low_) return best_;
    const std::vector<double> left = loudness(seen_.power_before);
    const std::vector<double> right = loudness(seen_.power_after);
    // The end of a word stays on its side, though too little of it stands out to be sure.
    const auto may_cross = [&](double& crossed, std::size_t s) {
      const std::size_t b = s + search_from_;
      crossed += std::max(before_at(b), after_at(b));
      return crossed <= kCrossed_bins * speech_;
    };
    std::size_t from = best_;
    for (double crossed = 0.0; from > low_ && may_cross(crossed, from - 1);) --from;
    std::size_t to = best_;
    for (double crossed = 0.0; to < high_ && may_cross(crossed, to);) ++to;
    std::size_t chosen = best_;
    double quietest = 1e300;
    for (std::size_t s = from; s <= to; ++s) {
      const std::size_t b = std::min(s + search_from_, bins_ - 1);
      const double here = left[b] + right[std::min(b + lost_, bins_ - 1)];
      if (here >= quietest) continue;
      quietest = here;
      chosen = s;
    }
    return chosen;
  }

  /// The seam at one second of the mix.
  void put(double mix_end_s) {
    place_.mix_end_s = mix_end_s;
    place_.mix_from_s = mix_end_s + lost_s_;
    place_.track_end_s = witness_.before.to_track(mix_end_s);
    place_.track_from_s = std::max(place_.track_end_s, witness_.after.to_track(place_.mix_from_s));
  }

  void tell_evidence() {
    place_.earliest_s = pause_from_s();
    place_.latest_s = pause_to_s();
    place_.speech = speech_;
    place_.explained = score_[best_];
    for (std::size_t b = 0; b < bins_; ++b)
      place_.explained += (b < search_from_ ? seen_.before[b] : 0.0) +
                          (b >= search_from_ + lost_ ? seen_.after[b] : 0.0);
    place_.over_first = score_[best_] - score_.front();
    place_.over_last = score_[best_] - score_.back();
    for (std::size_t s = 0; s + 1 < score_.size(); ++s) {
      const std::size_t b = s + search_from_;
      if (s < best_ && b < bins_)
        place_.heard_before += seen_.before[b];
      else if (s >= best_ && b + lost_ < bins_)
        place_.heard_after += seen_.after[b + lost_];
      (s < best_ ? place_.chance_first : place_.chance_last) += chance_of(s);
    }
    place_.chance_first = std::sqrt(place_.chance_first);
    place_.chance_last = std::sqrt(place_.chance_last);
    place_.in_speech = high_ - low_ < kPauseBins;
    for (std::size_t s = low_; s < high_; ++s) {
      const std::size_t b = s + search_from_;
      if (std::max(before_at(b), after_at(b)) < kSounding * speech_) continue;
      const double away_s =
          std::max(place_.mix_end_s - second_of(s), second_of(s + 1) - place_.mix_end_s);
      place_.loose_s = std::max(place_.loose_s, away_s);
    }
  }

  /// Whether a seam at this second of the mix explains not much less than the best one.
  bool is_likely_at(double mix_s) const {
    const std::size_t s = bin_of(mix_s);
    return s >= search_from_ && s <= search_to_ &&
           score_[s - search_from_] > score_[best_] - kAgainst_bins * speech_;
  }

  /// What stands twice in the file whose fault the step would be, the second copy between two
  /// seconds of the mix: nothing where none does.
  Result<std::optional<Repeat>> repeat_between(double low_s, double high_s) const {
    const double extra_s = std::abs(step_s_);
    const bool in_mix = step_s_ > 0.0;
    // What the mix lost stands in no file twice.
    if (!in_mix && is_surely_in_mix()) return std::optional<Repeat>{};
    const double least_s = in_mix && !is_surely_in_mix() ? kShortRepeat_s : kLeastRepeat_s;
    if (extra_s < least_s || extra_s > kMostRepeat_s) return std::optional<Repeat>{};
    // The line before and the line after explain both copies alike: the cut may lie in either.
    const double from = in_mix ? low_s : witness_.before.to_track(low_s);
    const double to = in_mix ? high_s : witness_.before.to_track(high_s);
    // The copies stand apart by the file's own time, not the timeline's.
    const double apart_s = in_mix ? extra_s : extra_s / witness_.before.rate;
    return find_repeat(in_mix ? mix_ : *witness_.signal, apart_s,
                       std::max(0.0, from - extra_s - kNearZeros_s),
                       std::max(0.0, to) + kNearZeros_s);
  }

  double mix_end_of(const Repeat& repeat) const {
    const double second_s = repeat.from_s + repeat.apart_s;  // the second copy goes
    return step_s_ > 0.0 ? second_s : witness_.before.to_mix(second_s);
  }

  void put_repeat(const Repeat& repeat) {
    place_.repeated = true;
    place_.loose_s = 0.0;
    put(mix_end_of(repeat));
  }

  Result<bool> look_for_repeat() {
    const auto repeat = repeat_between(pause_from_s(), pause_to_s());
    if (!repeat) return repeat.error();
    if (*repeat) put_repeat(**repeat);
    return repeat->has_value();
  }

  /// A stretch that the track holds twice is the step wherever others' voices seem to put it.
  Result<bool> look_for_far_repeat() {
    if (step_s_ > 0.0 || to_s_ - from_s_ > kLongestGap_s) return false;
    const auto repeat = repeat_between(from_s_, to_s_);
    if (!repeat) return repeat.error();
    if (!*repeat || !is_likely_at(mix_end_of(**repeat))) return false;
    put_repeat(**repeat);
    return true;
  }

  /// Digital silence is the seam wherever the pause has it.
  Result<bool> look_for_padding() {
    if (seam_in_ == SeamIn::track || step_s_ <= 0.0) return false;
    const auto padding =
        find_zeros(mix_, pause_from_s() - kNearZeros_s, pause_to_s() + lost_s_ + kNearZeros_s);
    if (!padding) return padding.error();
    const double longer_s = padding->to_s - padding->from_s - lost_s_;
    if (!padding->found || longer_s <= -kShorterZeros_s || longer_s >= kLongerZeros_s ||
        lost_s_ <= kLeastPadding_s)
      return false;
    place_.zeros = place_.mix_padded = true;
    place_.loose_s = 0.0;
    put(padding->from_s);
    return true;
  }

  Result<bool> look_for_zeros() {
    if (is_surely_in_mix()) return false;
    const auto zeros =
        find_zeros(*witness_.signal, witness_.before.to_track(pause_from_s()) - kNearZeros_s,
                   witness_.after.to_track(pause_to_s() + lost_s_) + kNearZeros_s);
    if (!zeros) return zeros.error();
    if (!zeros->found || zeros->to_s - zeros->from_s <= 0.9 * std::max(0.0, -step_s_)) return false;
    put_zeros(*zeros);
    return true;
  }

  /// As long as the step, they are it wherever in the pause others' voices seem to put it.
  Result<bool> look_for_far_zeros() {
    if (is_surely_in_mix() || step_s_ >= -kLeastPadding_s) return false;
    const double extra_s = -step_s_;
    const auto zeros = find_zeros(*witness_.signal, witness_.before.to_track(from_s_),
                                  witness_.after.to_track(to_s_), extra_s + kLongerZeros_s);
    if (!zeros) return zeros.error();
    if (!zeros->found || zeros->to_s - zeros->from_s <= extra_s - kShorterZeros_s ||
        !is_likely_at(witness_.before.to_mix(zeros->from_s)))
      return false;
    put_zeros(*zeros);
    return true;
  }

  void put_zeros(const Zeros& zeros) {
    place_.zeros = true;
    place_.loose_s = 0.0;
    place_.track_end_s = zeros.from_s;
    place_.mix_end_s = witness_.before.to_mix(place_.track_end_s);
    place_.track_from_s = std::max(zeros.to_s, witness_.after.to_track(place_.mix_end_s + lost_s_));
    place_.mix_from_s = std::max(place_.mix_end_s, witness_.after.to_mix(place_.track_from_s));
  }

  const AnalysisSignal& mix_;
  const std::vector<SeamWitness>& witnesses_;
  const SeamWitness& witness_;  // in whose time the place is told
  double step_s_;
  double lost_s_;
  double from_s_;
  double to_s_;
  SeamIn seam_in_;
  double first_s_{0.0};  // of the bins
  std::int64_t first_{0};
  std::size_t bins_{0};
  std::size_t lost_{0};  // bins
  std::size_t search_from_{0};
  std::size_t search_to_{0};

  SeamEvidence seen_;
  double speech_{0.0};
  std::vector<double> chance_before_;
  std::vector<double> chance_after_;
  std::vector<double> score_;  // from search_from_ on, and so are the next three
  std::size_t best_{0};
  std::size_t low_{0};
  std::size_t high_{0};
  SeamPlace place_;
};

}  // namespace

Result<SeamPlace> place_seam(const AnalysisSignal& mix, const std::vector<SeamWitness>& witnesses,
                             double step_s, double from_s, double to_s,
                             const std::vector<SteadyTrack>& steady, SeamIn seam_in) {
  return SeamSearch(mix, witnesses, step_s, from_s, to_s, seam_in).run(steady);
}

}  // namespace kilter::sync
