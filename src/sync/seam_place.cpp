#include "kilter/sync/seam_place.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <span>
#include <utility>

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
constexpr int kLeastZeros = kAnalysisRateHz / 200;
constexpr double kLeastRepeat_s = 0.015;
constexpr double kMostRepeat_s = 30.0;
constexpr double kSameSound =
    0.97;  // correlation of two copies of a stretch, lossy coding allowed;
constexpr double kSameSamples = 0.995;    // of one so short that a voice's own periods are as alike
constexpr double kShortRepeat_s = 0.100;  // (one that would blame the mix is not looked for)
// Than the step: what stands beside them may be silent too, and the rate reduction smears it in.
constexpr double kLongerZeros_s = 0.010;
constexpr double kShorterZeros_s = 0.006;
constexpr double kLeastPadding_s = 0.018;
// Near its ends a copy holds what stands beside it too, by the filter of the rate reduction.
constexpr double kBlurred_s = 0.0025;
constexpr double kUnlike = 0.5;  // of two stretches of noise
constexpr double kStepError_samples = 1.5;
constexpr double kAudible = 0.01;  // of the mean power around: below, silence equals silence
constexpr std::size_t kPauseBins = 12;
constexpr double kNearZeros_s = 0.020;
constexpr double kAgainst_bins = 20.0;  // of speech, that zeros as long as the step outweigh

/// The longest run of exact zeros in track seconds `from_s`..`to_s`, of those up to `most_s`.
struct Zeros {
  bool found{false};
  double from_s{0.0};
  double to_s{0.0};
};

Result<Zeros> find_zeros(const AnalysisSignal& signal, double from_s, double to_s,
                         double most_s = 1e9) {
  constexpr std::int64_t kPage = 16 * kAnalysisRateHz;
  std::int64_t first = static_cast<std::int64_t>(std::floor(from_s * kAnalysisRateHz));
  const auto last = static_cast<std::int64_t>(std::ceil(to_s * kAnalysisRateHz));
  std::vector<float> page;
  Zeros best;
  std::int64_t best_length = kLeastZeros;
  const auto most = static_cast<std::int64_t>(most_s * kAnalysisRateHz);
  std::int64_t run_from = 0;
  std::int64_t run = 0;
  const auto close = [&](std::int64_t end) {
    if (run > best_length && run <= most) {
      best_length = run;
      best = {true, static_cast<double>(run_from) / kAnalysisRateHz,
              static_cast<double>(end) / kAnalysisRateHz};
    }
    run = 0;
  };
  const std::int64_t from = std::max<std::int64_t>(0, first);
  const std::int64_t to = std::min(last, signal.frames());
  for (std::int64_t at = from; at < to; at += kPage) {
    page.resize(static_cast<std::size_t>(std::min(kPage, to - at)));
    if (auto read = signal.read(at, page); !read) return read.error();
    for (std::size_t i = 0; i < page.size(); ++i) {
      const auto here = at + static_cast<std::int64_t>(i);
      if (page[i] != 0.0F) {
        close(here);
      } else if (run++ == 0) {
        run_from = here;
      }
    }
  }
  close(to);
  return best;
}

/// Two stretches in a row: where the first begins, and how much alike they are.
struct Repeat {
  double from_s{0.0};
  double apart_s{0.0};
  double alike{0.0};
};

/// The likeliest that is heard, and of the rest, where nobody speaks.
struct Repeats {
  Repeat heard;
  Repeat faint;
  double least_alike{1.0};  // of all that were compared: hum is like itself everywhere
};

/// The stretch of `length_s`, beginning between `from_s` and `to_s`, that is most like what follows
/// it.
Result<Repeats> most_alike(const AnalysisSignal& signal, double length_s, double from_s,
                           double to_s) {
  const auto length = static_cast<std::int64_t>(std::lround(length_s * kAnalysisRateHz));
  const auto first = static_cast<std::int64_t>(std::floor(from_s * kAnalysisRateHz));
  const std::int64_t starts =
      static_cast<std::int64_t>(std::ceil(to_s * kAnalysisRateHz)) - first + 1;
  // Half of the fraction of a sample that they are apart by goes to either: both are dulled alike.
  const double half_s = 0.5 * (length_s - static_cast<double>(length) / kAnalysisRateHz);
  auto a = read_through(signal, {half_s, 1.0}, first, starts + length + 1);
  if (!a) return a.error();
  auto b = read_through(signal, {half_s - length_s, 1.0}, first, starts + length + 1);
  if (!b) return b.error();
  for (auto* sound : {&*a, &*b}) {
    // Near half the rate the cubic between samples is no longer true.
    for (std::size_t i = 0; i + 1 < sound->size(); ++i) (*sound)[i] += (*sound)[i + 1];
    sound->pop_back();
  }
  const auto blurred = static_cast<std::int64_t>(kBlurred_s * kAnalysisRateHz);
  const std::int64_t compared = length - 2 * blurred;
  double cross = 0.0;
  double power_a = 0.0;
  double power_b = 0.0;
  double all = 0.0;
  for (const float x : *a) all += static_cast<double>(x) * static_cast<double>(x);
  const double audible =
      kAudible * all * static_cast<double>(compared) / static_cast<double>(a->size()) + 1e-20;
  const double nothing = 1e-9 * all + 1e-20;
  const auto add = [&](std::int64_t i, double sign) {
    const auto x = static_cast<double>((*a)[static_cast<std::size_t>(i)]);
    const auto y = static_cast<double>((*b)[static_cast<std::size_t>(i)]);
    cross += sign * x * y;
    power_a += sign * x * x;
    power_b += sign * y * y;
  };
  for (std::int64_t i = 0; i < compared; ++i) add(i + blurred, 1.0);
  Repeats best{{0.0, length_s, 0.0}, {0.0, length_s, 0.0}};
  for (std::int64_t start = 0; start < starts; ++start) {
    // Running sums of digital silence end as a rounding's remains.
    const bool sounds = power_a > nothing && power_b > nothing;
    const double alike = sounds ? cross / std::sqrt(power_a * power_b) : 0.0;
    const bool is_heard = power_a > audible && power_b > audible;
    Repeat& rival = is_heard ? best.heard : best.faint;
    best.least_alike = std::min(best.least_alike, alike);
    if (alike > rival.alike)
      rival = {static_cast<double>(first + start) / kAnalysisRateHz - half_s, length_s, alike};
    if (start + 1 == starts) break;
    add(start + blurred, -1.0);
    add(start + blurred + compared, 1.0);
  }
  return best;
}

/// Where a stretch of about `length_s` stands twice in a row, beginning between `from_s` and
/// `to_s`. Nothing where none does. The length may be off by what a step is before the clocks are
/// well known, which is samples, and half a sample spoils the likeness.
Result<std::optional<Repeat>> find_repeat(const AnalysisSignal& signal, double length_s,
                                          double from_s, double to_s) {
  Repeats best;
  double around_s = length_s;
  for (double step = kStepError_samples; step > 0.1; step *= 0.5) {
    const double step_s = step / kAnalysisRateHz;
    for (const double apart_s : {around_s, around_s - step_s, around_s + step_s}) {
      const auto repeats = most_alike(signal, apart_s, from_s, to_s);
      if (!repeats) return repeats.error();
      if (repeats->heard.alike > best.heard.alike) best.heard = repeats->heard;
      if (repeats->faint.alike > best.faint.alike) best.faint = repeats->faint;
      best.least_alike = std::min(best.least_alike, repeats->least_alike);
    }
    const Repeat& likeliest = best.heard.alike > 0.0 ? best.heard : best.faint;
    if (likeliest.alike > 0.0) around_s = likeliest.apart_s;
  }
  const double enough = length_s < kShortRepeat_s ? kSameSamples : kSameSound;
  if (best.heard.alike >= enough) return std::optional<Repeat>{best.heard};
  // A recorder's noise is as good as a fingerprint.
  if (best.faint.alike >= kSameSamples && best.least_alike < kUnlike)
    return std::optional<Repeat>{best.faint};
  return std::optional<Repeat>{};
}

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

}  // namespace

Result<SeamPlace> place_seam(const AnalysisSignal& mix, const std::vector<SeamWitness>& witnesses,
                             double step_s, double from_s, double to_s,
                             const std::vector<SteadyTrack>& steady, SeamIn seam_in) {
  const double lost_s = std::max(step_s, 0.0);
  const auto lost = static_cast<std::size_t>(std::lround(lost_s / kBin_s));
  from_s = std::max(from_s, to_s - kLongest_s);
  const double mix_length_s = static_cast<double>(mix.frames()) / kAnalysisRateHz;
  const double first_s = std::max(0.0, from_s - kContext_s);
  const double last_s = std::min(mix_length_s, to_s + lost_s + kContext_s);
  const auto first = static_cast<std::int64_t>(std::floor(first_s * kAnalysisRateHz));
  const auto bins = static_cast<std::size_t>(
      std::max(1.0, std::floor((last_s - first_s) * kAnalysisRateHz / kSeamBin)));
  const auto bin_of = [&](double mix_s) {
    return static_cast<std::size_t>(
        std::clamp((mix_s - first_s) / kBin_s, 0.0, static_cast<double>(bins)));
  };
  const std::size_t search_from = bin_of(from_s);
  const std::size_t search_to = std::max(search_from, bin_of(to_s));

  auto evidence = seam_evidence(mix, witnesses, steady, first, bins);
  if (!evidence) return evidence.error();
  std::vector<double>& before = evidence->before;
  std::vector<double>& after = evidence->after;
  const std::vector<double>& power_before = evidence->power_before;
  const std::vector<double>& power_after = evidence->power_after;

  const double speech = std::max(speech_power(power_before), speech_power(power_after));
  // Variance of what a bin says on either line, where others sound in the mix.
  std::vector<double> chance_before(bins);
  std::vector<double> chance_after(bins);
  for (std::size_t b = 0; b < bins; ++b) {
    const double rest = 4.0 * evidence->rest[b] / kFreedom;
    chance_before[b] = rest * power_before[b];
    chance_after[b] = rest * power_after[b];
  }
  // Where the witnesses are silent on a line, only chance speaks for or against it.
  for (std::size_t b = 0; b < bins; ++b) {
    if (power_before[b] < kSilent * speech) before[b] = 0.0;
    if (power_after[b] < kSilent * speech) after[b] = 0.0;
  }

  // score[s]: explained with the old line up to bin s and the new one from s + lost on.
  std::vector<double> score(search_to + 1 - search_from);
  double sum = 0.0;
  std::size_t best = 0;
  for (std::size_t s = search_from; s <= search_to; ++s) {
    if (s > search_from) {
      sum += before[s - 1];
      if (s - 1 + lost < bins) sum -= after[s - 1 + lost];
    }
    score[s - search_from] = sum;
    if (sum > score[best]) best = s - search_from;
  }
  std::size_t low = best;
  std::size_t high = best;
  const auto allowed = [&](double variance) {
    return kPlateau * speech + kChance_sigma * std::sqrt(variance);
  };
  const auto chance_of = [&](std::size_t s) {  // moving the place over one bin
    const std::size_t b = s + search_from;
    return (b < bins ? chance_before[b] : 0.0) + (b + lost < bins ? chance_after[b + lost] : 0.0);
  };
  double variance = 0.0;
  while (low > 0) {
    variance += chance_of(low - 1);
    if (score[low - 1] <= score[best] - allowed(variance)) break;
    --low;
  }
  variance = 0.0;
  while (high + 1 < score.size()) {
    variance += chance_of(high);
    if (score[high + 1] <= score[best] - allowed(variance)) break;
    ++high;
  }

  SeamPlace place;
  place.earliest_s = first_s + static_cast<double>(low + search_from) * kBin_s;
  place.latest_s = first_s + static_cast<double>(high + search_from) * kBin_s;
  place.speech = speech;
  place.explained = score[best];
  for (std::size_t b = 0; b < bins; ++b)
    place.explained +=
        (b < search_from ? before[b] : 0.0) + (b >= search_from + lost ? after[b] : 0.0);
  place.over_first = score[best] - score.front();
  place.over_last = score[best] - score.back();
  place.in_speech = high - low < kPauseBins;
  std::size_t chosen = best;
  if (high > low) {
    const std::vector<double> left = loudness(power_before);
    const std::vector<double> right = loudness(power_after);
    double quietest = 1e300;
    for (std::size_t s = low; s <= high; ++s) {
      const std::size_t b = std::min(s + search_from, bins - 1);
      const double here = left[b] + right[std::min(b + lost, bins - 1)];
      if (here < quietest) {
        quietest = here;
        chosen = s;
      }
    }
  }
  for (std::size_t s = low; s < high; ++s) {
    const std::size_t b = s + search_from;
    const double sounds =
        std::max(b < bins ? power_before[b] : 0.0, b + lost < bins ? power_after[b + lost] : 0.0);
    if (sounds < kSounding * speech) continue;
    const std::size_t away = s < chosen ? chosen - s : s + 1 - chosen;
    place.loose_s = std::max(place.loose_s, static_cast<double>(away) * kBin_s);
  }
  place.mix_end_s = first_s + static_cast<double>(chosen + search_from) * kBin_s;
  place.mix_from_s = place.mix_end_s + lost_s;
  const SeamWitness& witness = witnesses.front();
  place.track_end_s = witness.before.to_track(place.mix_end_s);
  place.track_from_s = std::max(place.track_end_s, witness.after.to_track(place.mix_from_s));

  const double extra_s = std::abs(step_s);
  const bool surely_in_mix = seam_in == SeamIn::mix;
  // What the mix lost stands in no file twice.
  const bool may_repeat = step_s > 0.0 || !surely_in_mix;
  const double least_repeat_s = step_s > 0.0 && !surely_in_mix ? kShortRepeat_s : kLeastRepeat_s;
  if (may_repeat && extra_s >= least_repeat_s && extra_s <= kMostRepeat_s) {
    // The line before and the line after explain both copies alike: the cut may lie in either.
    const bool in_mix = step_s > 0.0;
    const double low_s = first_s + static_cast<double>(low + search_from) * kBin_s;
    const double high_s = first_s + static_cast<double>(high + search_from) * kBin_s;
    const double from = in_mix ? low_s : witness.before.to_track(low_s);
    const double to = in_mix ? high_s : witness.before.to_track(high_s);
    // The copies stand apart by the file's own time, not the timeline's.
    const double apart_s = in_mix ? extra_s : extra_s / witness.before.rate;
    const auto repeat =
        find_repeat(in_mix ? mix : *witness.signal, apart_s,
                    std::max(0.0, from - extra_s - kNearZeros_s), std::max(0.0, to) + kNearZeros_s);
    if (!repeat) return repeat.error();
    if (*repeat) {
      place.repeated = true;
      place.loose_s = 0.0;
      const double second_s = (*repeat)->from_s + (*repeat)->apart_s;  // the second copy goes
      place.mix_end_s = in_mix ? second_s : witness.before.to_mix(second_s);
      place.mix_from_s = place.mix_end_s + lost_s;
      place.track_end_s = witness.before.to_track(place.mix_end_s);
      place.track_from_s = std::max(place.track_end_s, witness.after.to_track(place.mix_from_s));
      return place;
    }
  }

  // Digital silence is the seam wherever the pause has it.
  const double first_end_s = first_s + static_cast<double>(low + search_from) * kBin_s;
  const double last_end_s = first_s + static_cast<double>(high + search_from) * kBin_s;
  if (seam_in != SeamIn::track && step_s > 0.0) {
    const auto padding =
        find_zeros(mix, first_end_s - kNearZeros_s, last_end_s + lost_s + kNearZeros_s);
    if (!padding) return padding.error();
    const double longer_s = padding->to_s - padding->from_s - lost_s;
    if (padding->found && longer_s > -kShorterZeros_s && longer_s < kLongerZeros_s &&
        lost_s > kLeastPadding_s) {
      place.zeros = place.mix_padded = true;
      place.loose_s = 0.0;
      place.mix_end_s = padding->from_s;
      place.mix_from_s = place.mix_end_s + lost_s;
      place.track_end_s = witness.before.to_track(place.mix_end_s);
      place.track_from_s = std::max(place.track_end_s, witness.after.to_track(place.mix_from_s));
      return place;
    }
  }
  if (surely_in_mix) return place;
  auto zeros = find_zeros(*witness.signal, witness.before.to_track(first_end_s) - kNearZeros_s,
                          witness.after.to_track(last_end_s + lost_s) + kNearZeros_s);
  if (!zeros) return zeros.error();
  bool are_seam = zeros->found && zeros->to_s - zeros->from_s > 0.9 * std::max(0.0, -step_s);
  if (!are_seam && step_s < -kLeastPadding_s) {
    // As long as the step, they are it wherever in the pause others' voices seem to put it.
    zeros = find_zeros(*witness.signal, witness.before.to_track(from_s),
                       witness.after.to_track(to_s), extra_s + kLongerZeros_s);
    if (!zeros) return zeros.error();
    const std::size_t s = bin_of(witness.before.to_mix(zeros->from_s));
    are_seam = zeros->found && zeros->to_s - zeros->from_s > extra_s - kShorterZeros_s &&
               s >= search_from && s <= search_to &&
               score[s - search_from] > score[best] - kAgainst_bins * speech;
  }
  if (are_seam) {
    place.zeros = true;
    place.loose_s = 0.0;
    place.track_end_s = zeros->from_s;
    place.mix_end_s = witness.before.to_mix(place.track_end_s);
    place.track_from_s = std::max(zeros->to_s, witness.after.to_track(place.mix_end_s + lost_s));
    place.mix_from_s = std::max(place.mix_end_s, witness.after.to_mix(place.track_from_s));
  }
  return place;
}

}  // namespace kilter::sync
