#include "exact_marks.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

#include "seam_evidence.h"

namespace kilter::sync {
namespace {

constexpr int kLeastZeros = kAnalysisRateHz / 200;
constexpr double kSameSound = 0.97;  // correlation of two copies, lossy coding allowed;
constexpr double kSameSamples = 0.995;  // of one so short that a voice's own periods are as alike
// Near its ends a copy holds what stands beside it too, by the filter of the rate reduction.
constexpr double kBlurred_s = 0.0025;
constexpr double kUnlike = 0.5;  // of two stretches of noise
constexpr double kStepError_samples = 1.5;
constexpr double kAudible = 0.01;  // of the mean power around: below, silence equals silence

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

}  // namespace

Result<Zeros> find_zeros(const AnalysisSignal& signal, double from_s, double to_s, double most_s) {
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

}  // namespace kilter::sync
