#include "window_spectra.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <span>
#include <utility>

#include "wide_bands.h"

namespace kilter::sync {
namespace {

constexpr std::size_t kBands = 20;
// Of one window. Microphones with a gain and a phase each in every narrow band imitate any sound of
// the room: with 100 gains, 5 to 12 of them left -10 dB of one who did nearly all the talking in 73
// to 89 % of the windows; with 40, in 54 %. Of sums, as few leave -10 dB in 86 % and more.
constexpr std::size_t kMostGains = 40;
constexpr std::size_t kFewestBands = 3;
constexpr std::size_t kVoicesEnd =
    static_cast<std::size_t>(kVoicesTo_hz * kSpectrumFrame / kAnalysisRateHz) - kFirstBin;
constexpr double kSearch_s = 0.060;  // two first maps are off by less
constexpr double kLeastCoherence = 0.15;
constexpr double kRidge = 1e-6;

using Complex = std::complex<double>;

/// Bins at which bands begin that are equally wide on a scale that is linear at first and
/// logarithmic above 700 Hz; the last one's end, too.
std::vector<std::size_t> band_edges(std::size_t bands) {
  std::vector<std::size_t> edges(bands + 1);
  const double low = std::log1p(kSpectrumFrom_hz / 700.0);
  const double high = std::log1p(kSpectrumTo_hz / 700.0);
  for (std::size_t i = 0; i <= bands; ++i) {
    const double part = static_cast<double>(i) / static_cast<double>(bands);
    const double hz = 700.0 * std::expm1(low + (high - low) * part);
    const auto bin = static_cast<std::size_t>(hz * kSpectrumFrame / kAnalysisRateHz);
    edges[i] = std::clamp(bin, kFirstBin, kFirstBin + kSpectrumBins) - kFirstBin;
  }
  edges[bands] = kSpectrumBins;
  return edges;
}

/// Of two frames, over some bins: their cross-spectrum and their powers.
struct FrameSums {
  Complex cross;
  double power_a{0.0};
  double power_b{0.0};
};

FrameSums sums_of_frame(const WindowSpectra& a, const WindowSpectra& b, std::size_t frame,
                        std::size_t from_bin, std::size_t to_bin) {
  float re = 0.0F, im = 0.0F, power_a = 0.0F, power_b = 0.0F;
  for (std::size_t i = frame * kSpectrumBins + from_bin; i < frame * kSpectrumBins + to_bin; ++i) {
    re += a.re[i] * b.re[i] + a.im[i] * b.im[i];
    im += a.re[i] * b.im[i] - a.im[i] * b.re[i];
    power_a += a.re[i] * a.re[i] + a.im[i] * a.im[i];
    power_b += b.re[i] * b.re[i] + b.im[i] * b.im[i];
  }
  return {Complex(static_cast<double>(re), static_cast<double>(im)), static_cast<double>(power_a),
          static_cast<double>(power_b)};
}

/// Solves the Hermitian system by Gauss-Jordan without pivots, which a positive matrix with a ridge
/// does not need; returns how much of the target's power the solution explains.
double explained_power(std::vector<Complex> matrix, const std::vector<Complex>& cross) {
  const std::size_t n = cross.size();
  std::vector<Complex> x = cross;
  for (std::size_t i = 0; i < n; ++i) matrix[i * n + i] *= 1.0 + kRidge;
  for (std::size_t i = 0; i < n; ++i) {
    const Complex pivot = matrix[i * n + i];
    if (!(std::abs(pivot) > 0.0)) {
      x[i] = 0.0;
      continue;
    }
    for (std::size_t j = 0; j < n; ++j) matrix[i * n + j] /= pivot;
    x[i] /= pivot;
    for (std::size_t k = 0; k < n; ++k) {
      if (k == i) continue;
      const Complex factor = matrix[k * n + i];
      for (std::size_t j = 0; j < n; ++j) matrix[k * n + j] -= factor * matrix[i * n + j];
      x[k] -= factor * x[i];
    }
  }
  double power = 0.0;
  for (std::size_t i = 0; i < n; ++i) power += (std::conj(x[i]) * cross[i]).real();
  return power;
}

}  // namespace

Result<void> WindowAnalyser::take(const PlacedSignal& placed, double from_s, double late_s,
                                  double slope, WindowSpectra& out) {
  for (int f = 0; f < kSpectrumFrames; ++f) {
    const double mix_s =
        from_s + static_cast<double>(f * kSpectrumHop + kSpectrumFrame / 2) / kAnalysisRateHz;
    const double place = (placed.at(mix_s) + late_s + slope * mix_s) * kAnalysisRateHz;
    const auto whole = static_cast<std::int64_t>(std::llround(place));
    if (auto read = placed.signal->read(whole - kSpectrumFrame / 2, samples_); !read)
      return read.error();
    multiply(samples_.data(), window_, buffer_);
    fft_.forward(buffer_, bins_);
    const Split frame{
        std::span(out.re).subspan(static_cast<std::size_t>(f) * kSpectrumBins, kSpectrumBins),
        std::span(out.im).subspan(static_cast<std::size_t>(f) * kSpectrumBins, kSpectrumBins)};
    split(&bins_[kFirstBin], frame);
    const double angle =
        2.0 * std::numbers::pi * (place - static_cast<double>(whole)) / kSpectrumFrame;
    turn(frame, angle * static_cast<double>(kFirstBin), angle, frame);
  }
  return {};
}

std::optional<Observation> WindowAnalyser::delay(const WindowSpectra& a, const WindowSpectra& b,
                                                 double mix_s) {
  std::fill(bins_.begin(), bins_.end(), std::complex<float>{});
  double weights = 0.0;
  for (std::size_t k = 0; k < kSpectrumBins; ++k) {
    float re = 0.0F, im = 0.0F, power_a = 0.0F, power_b = 0.0F;
    for (std::size_t i = k; i < kSpectrumFrames * kSpectrumBins; i += kSpectrumBins) {
      re += a.re[i] * b.re[i] + a.im[i] * b.im[i];
      im += a.re[i] * b.im[i] - a.im[i] * b.re[i];
      power_a += a.re[i] * a.re[i] + a.im[i] * a.im[i];
      power_b += b.re[i] * b.re[i] + b.im[i] * b.im[i];
    }
    const float power = std::sqrt(power_a * power_b);
    if (!(power > 0.0F)) continue;
    // Coherent bins count; the rest is noise, or another talker.
    const float coherence = std::hypot(re, im) / power;
    bins_[kFirstBin + k] = std::complex<float>(re, im) * (coherence / power);
    weights += static_cast<double>(coherence * coherence);
  }
  if (weights <= 0.0) return std::nullopt;
  fft_.inverse(bins_, buffer_);
  constexpr int kReach = static_cast<int>(kSearch_s * kAnalysisRateHz);
  const auto height = [&](int lag) {
    return std::abs(static_cast<double>(
        buffer_[static_cast<std::size_t>(lag + kSpectrumFrame) % kSpectrumFrame]));
  };
  int best = 0;
  for (int lag = -kReach; lag <= kReach; ++lag)
    if (height(lag) > height(best)) best = lag;
  const double coherence = 0.5 * height(best) / weights;
  if (coherence < kLeastCoherence || std::abs(best) == kReach) return std::nullopt;
  const double bend = height(best - 1) - 2.0 * height(best) + height(best + 1);
  const double rest = bend < 0.0 ? 0.5 * (height(best - 1) - height(best + 1)) / bend : 0.0;
  // To a tenth of a sample where all agrees.
  return Observation{mix_s, (best + rest) / kAnalysisRateHz, 0.1 / kAnalysisRateHz / coherence};
}

Meeting meet(const WindowSpectra& a, const WindowSpectra& b) {
  static const auto edges = band_edges(kBands);
  Meeting meeting;
  for (std::size_t band = 0; band < kBands; ++band) {
    Complex cross;
    double power_a = 0.0;
    double power_b = 0.0;
    for (std::size_t f = 0; f < kSpectrumFrames; ++f) {
      const FrameSums sums = sums_of_frame(a, b, f, edges[band], edges[band + 1]);
      cross += sums.cross;
      power_a += sums.power_a;
      power_b += sums.power_b;
    }
    meeting.power_a += power_a;
    meeting.power_b += power_b;
    meeting.cross += cross.real();
    const double shared = power_a > 0.0 && power_b > 0.0
                              ? std::min(1.0, std::norm(cross) / (power_a * power_b))
                              : 0.0;
    meeting.rest_a += power_a * (1.0 - shared);
    meeting.rest_b += power_b * (1.0 - shared);
  }
  return meeting;
}

FrameRests rests_of_frames(const WindowSpectra& target, const WindowSpectra& source) {
  static const auto edges = band_edges(kBands);
  std::array<Complex, kSpectrumFrames> crosses{};  // with what the bands' gains make of the source
  std::array<double, kSpectrumFrames> predicted{};
  std::array<double, kSpectrumFrames> powers{};
  for (std::size_t band = 0; band < kBands && edges[band + 1] <= kVoicesEnd; ++band) {
    std::array<FrameSums, kSpectrumFrames> sums;
    Complex all_cross;
    double all_power = 0.0;
    for (std::size_t f = 0; f < kSpectrumFrames; ++f) {
      sums[f] = sums_of_frame(source, target, f, edges[band], edges[band + 1]);
      powers[f] += sums[f].power_b;
      all_cross += sums[f].cross;
      all_power += sums[f].power_a;
    }
    if (!(all_power > 0.0)) continue;
    const Complex gain = all_cross / all_power;
    for (std::size_t f = 0; f < kSpectrumFrames; ++f) {
      crosses[f] += std::conj(gain) * sums[f].cross;
      predicted[f] += std::norm(gain) * sums[f].power_a;
    }
  }
  FrameRests frames;
  for (std::size_t f = 0; f < kSpectrumFrames; ++f) {
    const double explained = predicted[f] > 0.0 ? std::norm(crosses[f]) / predicted[f] : 0.0;
    frames[f] = {static_cast<float>(powers[f]),
                 static_cast<float>(std::max(0.0, powers[f] - explained))};
  }
  return frames;
}

double unexplained_share(const WindowSpectra& target, const std::vector<WindowSpectra>& sources) {
  const std::size_t n = sources.size();
  const std::size_t bands =
      std::clamp(kMostGains / std::max<std::size_t>(n, 1), kFewestBands, kBands);
  const auto edges = band_edges(bands);
  double power = 0.0;
  double explained = 0.0;
  for (std::size_t band = 0; band < bands; ++band) {
    const auto sum = [&](const WindowSpectra& a, const WindowSpectra& b) {
      Complex total;
      for (std::size_t f = 0; f < kSpectrumFrames; ++f) {
        float re = 0.0F, im = 0.0F;
        for (std::size_t i = f * kSpectrumBins + edges[band];
             i < f * kSpectrumBins + edges[band + 1]; ++i) {
          re += a.re[i] * b.re[i] + a.im[i] * b.im[i];
          im += a.re[i] * b.im[i] - a.im[i] * b.re[i];
        }
        total += Complex(static_cast<double>(re), static_cast<double>(im));
      }
      return total;
    };
    std::vector<Complex> matrix(n * n);
    std::vector<Complex> cross(n);
    for (std::size_t i = 0; i < n; ++i) {
      cross[i] = sum(sources[i], target);
      for (std::size_t j = 0; j <= i; ++j) {
        matrix[i * n + j] = sum(sources[i], sources[j]);
        matrix[j * n + i] = std::conj(matrix[i * n + j]);
      }
    }
    const double band_power = sum(target, target).real();
    power += band_power;
    explained += std::clamp(explained_power(std::move(matrix), cross), 0.0, band_power);
  }
  return power > 0.0 ? 1.0 - explained / power : 1.0;
}

}  // namespace kilter::sync
