#include "sound_delay.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <vector>

#include "kilter/base/wide_loops.h"
#include "kilter/signal/fft.h"

namespace kilter::simulator {
namespace {

constexpr int kSize = 8192;
constexpr std::size_t kBins = kSize / 2 + 1;
constexpr int kMostFrames = 4000;

/// Spectra summed over blocks of half overlap.
struct Spectra {
  std::vector<std::complex<double>> cross = std::vector<std::complex<double>>(kBins);
  std::vector<double> of_earlier = std::vector<double>(kBins);
  std::vector<double> of_later = std::vector<double>(kBins);

  /// Phase and agreement (0..1) of the cross-spectrum, as one number.
  std::complex<double> coherence(std::size_t bin) const {
    const double power = std::sqrt(of_earlier[bin] * of_later[bin]);
    return power > 0.0 ? cross[bin] / power : 0.0;
  }

  void add(const std::complex<float>* x, const std::complex<float>* y);
};

/// The products are spelled out: the library's look for infinities one by one.
KILTER_WIDE void Spectra::add(const std::complex<float>* x, const std::complex<float>* y) {
  const float* a = reinterpret_cast<const float*>(x);
  const float* b = reinterpret_cast<const float*>(y);
  double* crosses = reinterpret_cast<double*>(cross.data());
  for (std::size_t i = 0; i < kBins; ++i) {
    const double a_re = a[2 * i], a_im = a[2 * i + 1];
    const double b_re = b[2 * i], b_im = b[2 * i + 1];
    crosses[2 * i] += a_re * b_re + a_im * b_im;
    crosses[2 * i + 1] += a_re * b_im - a_im * b_re;
    of_earlier[i] += a_re * a_re + a_im * a_im;
    of_later[i] += b_re * b_re + b_im * b_im;
  }
}

void cut(std::span<const float> from, std::int64_t first, const std::vector<float>& window,
         FftVector<float>& block) {
  for (int i = 0; i < kSize; ++i) {
    const std::int64_t at = first + i;
    const bool inside = at >= 0 && at < static_cast<std::int64_t>(from.size());
    const auto k = static_cast<std::size_t>(i);
    block[k] = inside ? from[static_cast<std::size_t>(at)] * window[k] : 0.0F;
  }
}

Spectra measure(std::span<const float> earlier, std::span<const float> later, std::int64_t shift,
                const RealFft& fft) {
  const std::vector<float> window = hann_window(kSize);
  FftVector<float> block(kSize);
  FftVector<std::complex<float>> x(kBins);
  FftVector<std::complex<float>> y(kBins);
  Spectra sum;
  for (std::int64_t at = 0; at < static_cast<std::int64_t>(earlier.size()); at += kSize / 2) {
    cut(earlier, at, window, block);
    fft.forward(block, x);
    cut(later, at + shift, window, block);
    fft.forward(block, y);
    sum.add(x.data(), y.data());
  }
  return sum;
}

std::int64_t whole_frames(const Spectra& spectra, const RealFft& fft) {
  FftVector<std::complex<float>> bins(kBins);
  for (std::size_t i = 0; i < bins.size(); ++i) bins[i] = std::complex<float>(spectra.coherence(i));
  FftVector<float> correlation(kSize);
  fft.inverse(bins, correlation);
  std::int64_t best = 0;
  const auto value = [&](std::int64_t lag) {
    return correlation[static_cast<std::size_t>((lag + kSize) % kSize)];
  };
  for (std::int64_t lag = -kMostFrames; lag <= kMostFrames; ++lag)
    if (value(lag) > value(best)) best = lag;
  return best;
}

/// Least squares of a straight phase, weighted by agreement.
double phase_delay_s(const Spectra& spectra, double rate_hz) {
  const double bin_hz = rate_hz / kSize;
  const auto first = static_cast<std::size_t>(std::ceil(120.0 / bin_hz));
  const auto last = static_cast<std::size_t>(std::min(7200.0, 0.45 * rate_hz) / bin_hz);
  double product = 0.0;
  double square = 0.0;
  for (std::size_t i = first; i <= last; ++i) {
    const std::complex<double> agreed = spectra.coherence(i);
    const double omega = 2.0 * std::numbers::pi * bin_hz * static_cast<double>(i);
    product -= std::arg(agreed) * omega * std::abs(agreed);
    square += omega * omega * std::abs(agreed);
  }
  return square > 0.0 ? product / square : 0.0;
}

}  // namespace

double mean_delay_s(std::span<const float> earlier, std::span<const float> later, double rate_hz) {
  const RealFft fft(kSize);
  Spectra spectra = measure(earlier, later, 0, fft);
  const std::int64_t frames = whole_frames(spectra, fft);
  if (frames != 0) spectra = measure(earlier, later, frames, fft);
  return static_cast<double>(frames) / rate_hz + phase_delay_s(spectra, rate_hz);
}

}  // namespace kilter::simulator
