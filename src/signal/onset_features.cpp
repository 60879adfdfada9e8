#include "kilter/signal/onset_features.h"

#include <algorithm>
#include <cmath>
#include <complex>

#include "kilter/signal/fft.h"
#include "kilter/signal/wide_loops.h"

namespace kilter {
namespace {

constexpr int kFft = 512;
constexpr int kWindow = kAnalysisRateHz / 40;  // 25 ms
constexpr int kHop = kAnalysisRateHz / kFeatureRateHz;
constexpr int kBlockFrames = 1000;
constexpr double kBound = 4.0;            // standard deviations
constexpr double kFloorBelowMean = 1e-4;  // what lies 40 dB below the band's mean counts as silence

double mel(double hz) { return std::log1p(hz / 700.0); }
double hz_of_mel(double m) { return 700.0 * std::expm1(m); }

/// First bin of each band, and one past the last.
std::array<int, kFeatureBands + 1> band_edges() {
  std::array<int, kFeatureBands + 1> edges{};
  const double low = mel(100.0);
  const double high = mel(4000.0);
  for (int i = 0; i <= kFeatureBands; ++i) {
    const double hz = hz_of_mel(low + (high - low) * i / kFeatureBands);
    edges[static_cast<std::size_t>(i)] =
        static_cast<int>(std::lround(hz * kFft / static_cast<double>(kAnalysisRateHz)));
  }
  return edges;
}

/// Powers of the bins of each band, in four sums that do not wait for each other.
KILTER_WIDE void band_energies(const std::complex<float>* bins,
                               const std::array<int, kFeatureBands + 1>& edges,
                               std::array<float, kFeatureBands>& energies) {
  std::array<float, kFft / 2> power;
  const auto* const values = reinterpret_cast<const float*>(bins);
  const auto last = static_cast<std::size_t>(edges.back());
  for (std::size_t i = 0; i < last; ++i)
    power[i] = values[2 * i] * values[2 * i] + values[2 * i + 1] * values[2 * i + 1];
  for (std::size_t band = 0; band < kFeatureBands; ++band) {
    Float4 sums{}, four{};
    auto i = static_cast<std::size_t>(edges[band]);
    const auto end = static_cast<std::size_t>(edges[band + 1]);
    for (; i + 4 <= end; i += 4) {
      load(&power[i], four);
      sums += four;
    }
    float sum = (sums[0] + sums[1]) + (sums[2] + sums[3]);
    for (; i < end; ++i) sum += power[i];
    energies[band] = sum;
  }
}

KILTER_WIDE void multiply(const float* a, const std::vector<float>& b, float* out) {
  const float* const x = b.data();
  for (std::size_t i = 0; i < static_cast<std::size_t>(kWindow); ++i) out[i] = a[i] * x[i];
}

/// Rises in bounded standard deviations, to the nearest step.
KILTER_WIDE void store_steps(const std::vector<float>& rises, double mean, double deviation,
                             std::vector<std::int8_t>& steps) {
  const float* const from = rises.data();
  std::int8_t* const to = steps.data();
  const std::size_t count = rises.size();
  for (std::size_t i = 0; i < count; ++i) {
    const double standard = (static_cast<double>(from[i]) - mean) / deviation;
    const double low = standard < -kBound ? -kBound : standard;
    const double bounded = (low > kBound ? kBound : low) * kFeatureSteps;
    to[i] =
        static_cast<std::int8_t>(static_cast<std::int32_t>(bounded + (bounded < 0.0 ? -0.5 : 0.5)));
  }
}

/// Bounded rises of the logarithm of a band's energies.
std::vector<std::int8_t> onsets_of(std::vector<float> band) {
  std::vector<std::int8_t> onsets(band.size(), 0);
  double mean_energy = 0.0;
  for (const float e : band) mean_energy += static_cast<double>(e);
  mean_energy /= std::max(1.0, static_cast<double>(band.size()));
  if (mean_energy <= 0.0) return onsets;  // digital silence
  const double floor = kFloorBelowMean * mean_energy;

  double before = std::log(static_cast<double>(band[0]) + floor);
  double sum = 0.0;
  double sum_square = 0.0;
  for (float& value : band) {
    const double now = std::log(static_cast<double>(value) + floor);
    const double rise = std::max(0.0, now - before);
    before = now;
    value = static_cast<float>(rise);
    sum += rise;
    sum_square += rise * rise;
  }
  const auto n = static_cast<double>(band.size());
  const double mean = sum / n;
  const double deviation = std::sqrt(std::max(0.0, sum_square / n - mean * mean));
  if (deviation <= 0.0) return onsets;
  store_steps(band, mean, deviation, onsets);
  return onsets;
}

}  // namespace

Result<OnsetFeatures> onset_features(const AnalysisSignal& signal, const std::atomic<bool>* stop) {
  const RealFft fft(kFft);
  const std::vector<float> window = hann_window(kWindow);
  const auto edges = band_edges();
  FftVector<float> frame(kFft, 0.0F);
  FftVector<std::complex<float>> bins(static_cast<std::size_t>(fft.bins()));
  std::vector<float> block(static_cast<std::size_t>(kBlockFrames * kHop + kWindow));

  std::array<std::vector<float>, kFeatureBands> energies;
  std::array<float, kFeatureBands> here{};
  const std::int64_t count = signal.frames() / kHop;
  for (auto& band : energies) band.resize(static_cast<std::size_t>(count));
  for (std::int64_t first = 0; first < count; first += kBlockFrames) {
    if (stop != nullptr && stop->load())
      return Error{ErrorKind::interrupted, {}, "interrupted", ""};
    if (auto read = signal.read(first * kHop - kWindow / 2, block); !read) return read.error();
    const std::int64_t last = std::min(first + kBlockFrames, count);
    for (std::int64_t i = first; i < last; ++i) {
      const float* samples = block.data() + (i - first) * kHop;
      multiply(samples, window, frame.data());
      fft.forward(frame, bins);
      band_energies(bins.data(), edges, here);
      for (std::size_t band = 0; band < kFeatureBands; ++band)
        energies[band][static_cast<std::size_t>(i)] = here[band];
    }
  }
  OnsetFeatures features;
  for (std::size_t band = 0; band < kFeatureBands; ++band)
    features.bands[band] = onsets_of(std::move(energies[band]));
  return features;
}

}  // namespace kilter
