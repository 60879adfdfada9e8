#include "sound_matcher.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <span>

#include "kilter/base/wide_loops.h"

namespace kilter::sync {
namespace {

constexpr double kBandFrom_hz = 150.0;
constexpr double kBandTo_hz = 7000.0;
constexpr double kLevelling_hz = 100.0;
constexpr double kLeastPeakSigma = 9.0;
constexpr double kLeastCorrelation = 0.25;
constexpr double kMostRival = 0.7;
constexpr double kRivalGuard_s = 0.002;
constexpr std::int64_t kTaper = 64;  // frames

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

/// Fades both ends: where a recording has nothing up there, as one of 8 kHz, the spectrum of the
/// cuts themselves would be levelled, and match each other at the ends of every search.
void taper(std::span<float> sound) {
  const auto count = static_cast<std::size_t>(std::min(kTaper, std::ssize(sound) / 2));
  for (std::size_t i = 0; i < count; ++i) {
    const double turn = std::numbers::pi * (static_cast<double>(i) + 0.5) / kTaper;
    const auto gain = static_cast<float>(0.5 - 0.5 * std::cos(turn));
    sound[i] *= gain;
    sound[sound.size() - 1 - i] *= gain;
  }
}

}  // namespace

Result<void> SoundMatcher::take(const AnalysisSignal& signal, std::int64_t first,
                                std::int64_t length) {
  length_ = length;
  correlation_.assign(kFft, 0.0F);
  const std::span<float> sound{correlation_.data(), static_cast<std::size_t>(length)};
  if (auto read = signal.read(first, sound); !read) return read;
  taper(sound);
  fft_.forward(correlation_, sound_bins_);
  level(sound_bins_);
  power_ = 0.0;
  for (const auto& bin : sound_bins_) power_ += 2.0 * static_cast<double>(std::norm(bin));
  power_ /= kFft;
  return {};
}

Result<SoundMatch> SoundMatcher::look(const AnalysisSignal& in, std::int64_t centre,
                                      std::int64_t reach, Polarity polarity) {
  around_.assign(kFft, 0.0F);
  const std::span<float> searched{around_.data(), static_cast<std::size_t>(length_ + 2 * reach)};
  if (auto read = in.read(centre - reach, searched); !read) return read.error();
  taper(searched);
  fft_.forward(around_, around_bins_);
  level(around_bins_);
  // The levelled signals, for their energies; then their correlation.
  multiply_conjugate(sound_bins_, around_bins_, cross_);
  fft_.inverse(around_bins_, around_);
  fft_.inverse(cross_, correlation_);
  return best_match(reach, polarity);
}

Result<SoundMatch> SoundMatcher::look_over(const AnalysisSignal& in, std::int64_t from,
                                           std::int64_t to, Polarity polarity,
                                           const std::atomic<bool>* stop) {
  // Stretches overlap a little: a match at the very end of one is not told from a rise beyond it.
  constexpr std::int64_t kOverlap = 64;
  const std::int64_t reach = (kMostFrames - length_) / 2 - 1;
  SoundMatch best;
  double rival = 0.0;
  for (std::int64_t at = from; at < to; at += 2 * reach - kOverlap) {
    if (stop != nullptr && stop->load()) return SoundMatch{};
    auto match = look(in, at + reach, reach, polarity);
    if (!match) return match.error();
    match->offset_s += static_cast<double>(at + reach - from) / kAnalysisRateHz;
    if (std::abs(match->offset_s - best.offset_s) < kRivalGuard_s) {
      if (match->peak_sigma > best.peak_sigma) best = *match;
    } else if (match->peak_sigma > best.peak_sigma) {
      rival = best.peak_sigma;
      best = *match;
    } else {
      rival = std::max(rival, match->peak_sigma);
    }
  }
  best.found = best.found && rival <= kMostRival * best.peak_sigma;
  return best;
}

/// Divides by the spectrum smoothed over 100 Hz, inside the band; 0 outside it.
void SoundMatcher::level(FftVector<std::complex<float>>& bins) {
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

SoundMatch SoundMatcher::best_match(std::int64_t reach, Polarity polarity) const {
  const auto lags = static_cast<std::size_t>(2 * reach + 1);
  const double sign = polarity == Polarity::inverted ? -1.0 : 1.0;
  const auto value = [&](std::size_t lag) {
    const auto x = static_cast<double>(correlation_[lag]);
    return polarity == Polarity::either ? std::abs(x) : sign * x;
  };
  double square = 0.0;
  std::size_t best = 0;
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
  for (std::int64_t i = 0; i < length_; ++i) {
    const auto y = static_cast<double>(around_[best + static_cast<std::size_t>(i)]);
    local += y * y;
  }
  const double rms = std::sqrt(square / static_cast<double>(lags));
  const double peak = value(best);
  SoundMatch match;
  if (!(rms > 0.0) || !(local > 0.0) || best == 0 || best + 1 >= lags) return match;
  match.inverted = correlation_[best] < 0.0F;
  match.peak_sigma = peak / rms;
  match.rival_sigma = rival / rms;
  match.correlation = peak / std::sqrt(power_ * local);
  match.found = match.peak_sigma >= kLeastPeakSigma && rival <= kMostRival * peak &&
                match.correlation >= kLeastCorrelation;
  const double left = value(best - 1);
  const double right = value(best + 1);
  const double bend = left - 2.0 * peak + right;
  const double between = bend < 0.0 ? 0.5 * (left - right) / bend : 0.0;
  match.offset_s =
      (static_cast<double>(best) - static_cast<double>(reach) + std::clamp(between, -0.5, 0.5)) /
      kAnalysisRateHz;
  return match;
}

}  // namespace kilter::sync
