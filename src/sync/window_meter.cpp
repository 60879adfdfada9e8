#include "kilter/sync/window_meter.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <optional>

namespace kilter::sync {
namespace {

constexpr int kFrame = 4096;
constexpr int kHop = kFrame / 2;
constexpr double kBandFrom_hz = 120.0;
constexpr double kBandTo_hz = 7200.0;
constexpr int kFirstBin = static_cast<int>(kBandFrom_hz * kFrame / kAnalysisRateHz) + 1;
constexpr int kLastBin = static_cast<int>(kBandTo_hz * kFrame / kAnalysisRateHz);
constexpr std::size_t kBins = kLastBin - kFirstBin + 1;
constexpr double kRidge = 1e-4;         // of each track's own power; above float rounding
constexpr double kEvidenceKnee = 50.0;  // above, a bin's say grows no further
constexpr double kOverlapLoss = 1.06;   // Welch: half-overlapped Hann frames are nearly independent
constexpr double kBinsShare = 1.5;      // Hann: neighbouring bins are not independent
constexpr double kPhaseFrom = 2.0 * std::numbers::pi * 200.0;  // radians per second
constexpr double kRivalGuard_s = 0.4e-3;
constexpr double kSilence = 1e-14;  // mean square of a frame that holds nothing
constexpr double kLeastPeakSigma = 6.0;

constexpr double bin_omega(std::size_t b) {
  return 2.0 * std::numbers::pi * (kFirstBin + static_cast<double>(b)) * kAnalysisRateHz / kFrame;
}

using Complex = std::complex<double>;

/// One complex value per bin of the band, split so that loops over bins vectorise.
struct Band {
  std::vector<float> re = std::vector<float>(kBins, 0.0F);
  std::vector<float> im = std::vector<float>(kBins, 0.0F);
  void clear() {
    std::fill(re.begin(), re.end(), 0.0F);
    std::fill(im.begin(), im.end(), 0.0F);
  }
};

/// sum += conj(a) * b
void accumulate(const Band& a, const Band& b, Band& sum) {
  for (std::size_t i = 0; i < kBins; ++i) {
    sum.re[i] += a.re[i] * b.re[i] + a.im[i] * b.im[i];
    sum.im[i] += a.re[i] * b.im[i] - a.im[i] * b.re[i];
  }
}

void accumulate_power(const Band& a, std::vector<float>& sum) {
  for (std::size_t i = 0; i < kBins; ++i) sum[i] += a.re[i] * a.re[i] + a.im[i] * a.im[i];
}

/// A track's filter into the mix: its phase as a unit vector, and the evidence of each bin.
struct Filter {
  std::vector<double> re = std::vector<double>(kBins, 0.0);
  std::vector<double> im = std::vector<double>(kBins, 0.0);
  std::vector<double> weight = std::vector<double>(kBins, 0.0);
  std::vector<double> evidence = std::vector<double>(kBins, 0.0);  // 1 / (2 var of the phase)
};

/// The likelihood of a delay, with its first two derivatives.
struct Likelihood {
  double value{0.0};
  double slope{0.0};
  double curvature{0.0};
};

Likelihood likelihood(const Filter& filter, double tau_s) {
  // e^{j omega tau} by rotation from bin to bin: a sine per bin would cost most of the measurement.
  const std::complex<double> step = std::polar(1.0, (bin_omega(1) - bin_omega(0)) * tau_s);
  std::complex<double> turn = std::polar(1.0, bin_omega(0) * tau_s);
  Likelihood sum;
  double omega = bin_omega(0);
  const double omega_step = bin_omega(1) - bin_omega(0);
  for (std::size_t b = 0; b < kBins; ++b) {
    const double c = filter.re[b] * turn.real() - filter.im[b] * turn.imag();
    const double s = filter.re[b] * turn.imag() + filter.im[b] * turn.real();
    const double w = filter.weight[b];
    sum.value += w * c;
    sum.slope -= w * omega * s;
    sum.curvature -= w * omega * omega * c;
    turn = {turn.real() * step.real() - turn.imag() * step.imag(),
            turn.real() * step.imag() + turn.imag() * step.real()};
    omega += omega_step;
  }
  return sum;
}

/// Climbs to the top of the peak near `tau_s`; `sign` -1 for a trough.
double climb(const Filter& filter, double tau_s, double sign) {
  constexpr double kWidest = 0.5 / kAnalysisRateHz;
  double moved = 0.0;
  for (int i = 0; i < 12; ++i) {
    const Likelihood at = likelihood(filter, tau_s);
    const double slope = sign * at.slope;
    const double curvature = sign * at.curvature;
    double step = curvature < 0.0 ? -slope / curvature : std::copysign(0.25 * kWidest, slope);
    step = std::clamp(step, -0.5 * kWidest, 0.5 * kWidest);
    if (std::abs(moved + step) > 2.0 * kWidest) break;
    tau_s += step;
    moved += step;
    if (std::abs(step) < 1e-10) break;
  }
  return tau_s;
}

/// The delay that the phase says, once what a high-pass does to it is told apart.
struct PhaseLine {
  double tau_s{0.0};
  double sigma_s{0.0};
};

/// Delay of the upper half of the evidence less that of the lower half, round the peak: what a
/// codec or a filter that delays some frequencies more than others leaves uncertain.
double dispersion(const Filter& filter, double tau_s, double sign) {
  double total = 0.0;
  for (std::size_t b = 0; b < kBins; ++b) total += filter.weight[b];
  const double omega_step = bin_omega(1) - bin_omega(0);
  const Complex step = std::polar(1.0, omega_step * tau_s);
  Complex turn = std::polar(sign, bin_omega(0) * tau_s);
  double passed = 0.0;
  double moment[2] = {};
  double square[2] = {};
  for (std::size_t b = 0; b < kBins; ++b, turn *= step) {
    const double omega = bin_omega(b);
    const double re = filter.re[b] * turn.real() - filter.im[b] * turn.imag();
    const double im = filter.re[b] * turn.imag() + filter.im[b] * turn.real();
    const int half = passed < 0.5 * total ? 0 : 1;
    passed += filter.weight[b];
    if (re <= 0.2 || omega < kPhaseFrom) continue;
    moment[half] -= filter.weight[b] * omega * std::atan2(im, re);
    square[half] += filter.weight[b] * omega * omega;
  }
  if (square[0] <= 0.0 || square[1] <= 0.0) return 0.0;
  return moment[1] / square[1] - moment[0] / square[0];
}

/// Weighted least squares of the phase round the peak on [omega, 1/omega]. A channel's or a speech
/// codec's high-pass leads by a phase that falls as 1/f far above its corner (first term of the
/// Butterworth phase in powers of corner / f); left in, it would pull the delay of a voice that is
/// strong in the low band tens of microseconds early.
PhaseLine fit_phase(const Filter& filter, double tau_s, double sign) {
  PhaseLine result{tau_s, 1.0};
  for (int round = 0; round < 3; ++round) {
    const double omega_step = bin_omega(1) - bin_omega(0);
    const Complex step = std::polar(1.0, omega_step * result.tau_s);
    Complex turn = std::polar(sign, bin_omega(0) * result.tau_s);
    // Normal equations in scaled variables x = omega / knee, y = knee / omega.
    constexpr double kKnee = 2.0 * std::numbers::pi * 1000.0;
    double xx = 0.0, xy = 0.0, yy = 0.0, xr = 0.0, yr = 0.0;
    double vxx = 0.0, vxy = 0.0, vyy = 0.0;
    for (std::size_t b = 0; b < kBins; ++b, turn *= step) {
      const double omega = bin_omega(b);
      if (filter.weight[b] <= 0.0 || omega < kPhaseFrom) continue;
      const double re = filter.re[b] * turn.real() - filter.im[b] * turn.imag();
      const double im = filter.re[b] * turn.imag() + filter.im[b] * turn.real();
      if (re <= 0.2) continue;  // more than 78 degrees off: another voice's bin
      const double w = filter.weight[b] * re;
      const double x = omega / kKnee;
      const double y = kKnee / omega;
      const double r = std::atan2(im, re);
      xx += w * x * x;
      xy += w;
      yy += w * y * y;
      xr += w * x * r;
      yr += w * y * r;
      const double v = w * w / (2.0 * filter.evidence[b]);
      vxx += v * x * x;
      vxy += v;
      vyy += v * y * y;
    }
    const double prior = 1e-3 * yy + 1e-12;
    const double determinant = xx * (yy + prior) - xy * xy;
    if (!(determinant > 1e-9 * xx * yy)) return result;
    const double gx = (yy + prior) / determinant;
    const double gy = -xy / determinant;
    const double correction_s = (gx * xr + gy * yr) / kKnee;
    // H = e^{-j omega tau}: a phase left over after turning by tau means that tau is too large.
    result.tau_s -= correction_s;
    result.sigma_s =
        std::sqrt(kBinsShare * (gx * gx * vxx + 2.0 * gx * gy * vxy + gy * gy * vyy)) / kKnee;
    if (std::abs(correction_s) < 1e-10) break;
  }
  return result;
}

/// Cholesky factor of a Hermitian matrix in place (lower triangle, row-major). False when singular.
bool factorise(std::vector<Complex>& a, std::size_t n) {
  for (std::size_t j = 0; j < n; ++j) {
    double diagonal = a[j * n + j].real();
    for (std::size_t k = 0; k < j; ++k) diagonal -= std::norm(a[j * n + k]);
    if (!(diagonal > 0.0)) return false;
    const double root = std::sqrt(diagonal);
    a[j * n + j] = root;
    for (std::size_t i = j + 1; i < n; ++i) {
      Complex sum = a[i * n + j];
      for (std::size_t k = 0; k < j; ++k) sum -= a[i * n + k] * std::conj(a[j * n + k]);
      a[i * n + j] = sum / root;
    }
  }
  return true;
}

/// Inverse of a lower triangle, into `inverse` (lower, row-major).
void invert_lower(const std::vector<Complex>& lower, std::size_t n, std::vector<Complex>& inverse) {
  std::fill(inverse.begin(), inverse.end(), Complex{});
  for (std::size_t column = 0; column < n; ++column) {
    inverse[column * n + column] = 1.0 / lower[column * n + column].real();
    for (std::size_t row = column + 1; row < n; ++row) {
      Complex sum;
      for (std::size_t k = column; k < row; ++k)
        sum += lower[row * n + k] * inverse[k * n + column];
      inverse[row * n + column] = -sum / lower[row * n + row].real();
    }
  }
}

/// Frames of a track that follow each other closely, read in blocks.
class FrameReader {
 public:
  /// kFrame samples round frame `centre`; valid until the next call.
  Result<const float*> at(const AnalysisSignal& signal, std::int64_t centre) {
    const std::int64_t from = centre - kFrame / 2;
    if (block_.empty() || from < first_ || from + kFrame > first_ + std::ssize(block_)) {
      block_.resize(kBlock);
      first_ = from;
      if (auto read = signal.read(first_, block_); !read) return read.error();
    }
    return block_.data() + (from - first_);
  }
  void forget() { block_.clear(); }

 private:
  static constexpr std::size_t kBlock = 16 * kFrame;
  std::vector<float> block_;
  std::int64_t first_{0};
};

/// Delays the band by -`advance_frames`: the sound moves earlier by a fraction of a frame.
void advance(Band& band, double advance_frames) {
  const double per_bin = 2.0 * std::numbers::pi * advance_frames / kFrame;
  const Complex step = std::polar(1.0, per_bin);
  Complex turn = std::polar(1.0, per_bin * kFirstBin);
  for (std::size_t b = 0; b < kBins; ++b) {
    const auto c = static_cast<float>(turn.real());
    const auto s = static_cast<float>(turn.imag());
    const float re = band.re[b] * c - band.im[b] * s;
    band.im[b] = band.re[b] * s + band.im[b] * c;
    band.re[b] = re;
    turn = {turn.real() * step.real() - turn.imag() * step.imag(),
            turn.real() * step.imag() + turn.imag() * step.real()};
  }
}

double mean_square(const float* samples) {
  double sum = 0.0;
  for (int i = 0; i < kFrame; ++i)
    sum += static_cast<double>(samples[i]) * static_cast<double>(samples[i]);
  return sum / kFrame;
}

}  // namespace

struct WindowMeter::Buffers {
  RealFft fft{kFrame};
  std::vector<float> window = hann_window(kFrame);
  FftVector<float> frame = FftVector<float>(kFrame);
  FftVector<std::complex<float>> bins = FftVector<std::complex<float>>(kFrame / 2 + 1);
  std::vector<float> mix_samples;
  std::vector<FrameReader> readers;
  Band mix;
  std::vector<Band> tracks;
  std::vector<float> mix_power = std::vector<float>(kBins);
  std::vector<Band> cross_mix;     // q: conj(track) * mix
  std::vector<Band> cross_tracks;  // R, lower triangle: conj(row) * column
  std::vector<double> energy;
  std::vector<Filter> filters;

  void transform(const float* samples, Band& out) {
    for (std::size_t i = 0; i < kFrame; ++i) frame[i] = samples[i] * window[i];
    fft.forward(frame, bins);
    for (std::size_t b = 0; b < kBins; ++b) {
      out.re[b] = bins[kFirstBin + b].real();
      out.im[b] = bins[kFirstBin + b].imag();
    }
  }

  void clear(std::size_t n) {
    tracks.resize(std::max(tracks.size(), n));
    readers.resize(std::max(readers.size(), n));
    cross_mix.resize(std::max(cross_mix.size(), n));
    cross_tracks.resize(std::max(cross_tracks.size(), n * (n + 1) / 2));
    energy.assign(n, 0.0);
    std::fill(mix_power.begin(), mix_power.end(), 0.0F);
    for (std::size_t i = 0; i < n; ++i) cross_mix[i].clear();
    for (std::size_t i = 0; i < n * (n + 1) / 2; ++i) cross_tracks[i].clear();
    for (FrameReader& reader : readers) reader.forget();
  }

  /// The spectrum of track `i` where its map puts timeline second `line_s`; nothing outside it.
  Result<void> take_frame(std::size_t i, const MappedTrack& track, double line_s) {
    const auto track_s = track.map->to_track(line_s);
    if (!track_s) {
      tracks[i].clear();
      return {};
    }
    const double place = *track_s * kAnalysisRateHz;
    const auto whole = static_cast<std::int64_t>(std::llround(place));
    const auto samples = readers[i].at(*track.signal, whole);
    if (!samples) return samples.error();
    energy[i] += mean_square(*samples);
    transform(*samples, tracks[i]);
    advance(tracks[i], place - static_cast<double>(whole));
    return {};
  }

  void accumulate_frame(std::size_t n, bool joint) {
    accumulate_power(mix, mix_power);
    for (std::size_t i = 0; i < n; ++i) {
      accumulate(tracks[i], mix, cross_mix[i]);
      for (std::size_t j = joint ? 0 : i; j <= i; ++j)
        accumulate(tracks[i], tracks[j], cross_tracks[i * (i + 1) / 2 + j]);
    }
  }

  /// Solves R H = q for the tracks `live` in every bin, into filters[at] .. filters[at + m - 1].
  /// False when there are too few frames for so many tracks.
  bool solve(const std::vector<std::size_t>& live, std::size_t at, std::size_t m, double averages) {
    const double freedom = averages - static_cast<double>(m);
    if (freedom < 2.0) return false;
    std::vector<Complex> matrix(m * m);
    std::vector<Complex> inverse(m * m);
    std::vector<Complex> half(m);
    for (std::size_t b = 0; b < kBins; ++b) {
      bool usable = true;
      for (std::size_t i = 0; i < m; ++i) {
        for (std::size_t j = 0; j <= i; ++j) {
          const std::size_t row = live[i];
          const Band& r = cross_tracks[row * (row + 1) / 2 + live[j]];
          matrix[i * m + j] = {static_cast<double>(r.re[b]), static_cast<double>(r.im[b])};
        }
        const double power = matrix[i * m + i].real();
        if (!(power > 0.0)) usable = false;
        matrix[i * m + i] = power * (1.0 + kRidge);
      }
      if (!usable || !factorise(matrix, m)) {
        for (std::size_t i = 0; i < m; ++i) filters[at + i].weight[b] = 0.0;
        continue;
      }
      invert_lower(matrix, m, inverse);
      // With R = L L^H: H = L^-H (L^-1 q), explained = |L^-1 q|^2, and R^-1's diagonal from L^-1.
      double explained = 0.0;
      for (std::size_t i = 0; i < m; ++i) {
        Complex sum;
        for (std::size_t j = 0; j <= i; ++j) {
          const Band& q = cross_mix[live[j]];
          sum += inverse[i * m + j] *
                 Complex(static_cast<double>(q.re[b]), static_cast<double>(q.im[b]));
        }
        half[i] = sum;
        explained += std::norm(sum);
      }
      const auto power = static_cast<double>(mix_power[b]);
      const double rest = std::max(power - explained, 1e-6 * power) / freedom;
      for (std::size_t i = 0; i < m; ++i) {
        Complex h;
        double spread = 0.0;
        for (std::size_t k = i; k < m; ++k) {
          h += std::conj(inverse[k * m + i]) * half[k];
          spread += std::norm(inverse[k * m + i]);
        }
        Filter& filter = filters[at + i];
        const double magnitude = std::abs(h);
        // F statistic of the track's share in this bin, less what chance gives.
        const double evidence =
            rest > 0.0 ? std::max(0.0, magnitude * magnitude / (spread * rest) - 1.0) : 0.0;
        filter.evidence[b] = evidence;
        filter.weight[b] = evidence / (1.0 + evidence / kEvidenceKnee);
        filter.re[b] = magnitude > 0.0 ? h.real() / magnitude : 0.0;
        filter.im[b] = magnitude > 0.0 ? h.imag() / magnitude : 0.0;
      }
    }
    return true;
  }
};

WindowMeter::WindowMeter(const MeterOptions& options)
    : options_(options), buffers_(std::make_unique<Buffers>()) {}
WindowMeter::~WindowMeter() = default;
WindowMeter::WindowMeter(WindowMeter&&) noexcept = default;

namespace {

/// The highest point of the likelihood within the search, and the next one elsewhere.
Reading read_delay(const Filter& filter, const RealFft& fft, FftVector<std::complex<float>>& bins,
                   FftVector<float>& lags, double search_s) {
  Reading reading;
  double weights = 0.0;
  double squares = 0.0;
  std::fill(bins.begin(), bins.end(), std::complex<float>{});
  for (std::size_t b = 0; b < kBins; ++b) {
    const double w = filter.weight[b];
    weights += w;
    squares += w * w;
    bins[kFirstBin + b] = {static_cast<float>(w * filter.re[b]),
                           static_cast<float>(w * filter.im[b])};
  }
  if (weights <= 0.0) return reading;
  fft.inverse(bins, lags);

  const int reach = std::min(static_cast<int>(search_s * kAnalysisRateHz), kFrame / 2 - 2);
  const auto value_at = [&](int lag) {
    return std::abs(lags[static_cast<std::size_t>((lag + kFrame) % kFrame)]);
  };
  const int guard = static_cast<int>(kRivalGuard_s * kAnalysisRateHz);
  // A peak between two lags of the grid shows up to a third lower there: climb from the best few.
  struct Top {
    double tau_s{0.0};
    double value{0.0};
    double sign{1.0};
  };
  std::vector<int> starts;
  for (int lag = -reach; lag <= reach; ++lag)
    if (value_at(lag) >= value_at(lag - 1) && value_at(lag) > value_at(lag + 1))
      starts.push_back(lag);
  std::stable_sort(starts.begin(), starts.end(),
                   [&](int a, int b) { return value_at(a) > value_at(b); });
  if (starts.empty()) return reading;
  std::vector<Top> tops;
  for (std::size_t i = 0; i < std::min<std::size_t>(starts.size(), 6); ++i) {
    if (value_at(starts[i]) < 0.5F * value_at(starts[0])) break;
    const double sign =
        lags[static_cast<std::size_t>((starts[i] + kFrame) % kFrame)] < 0.0F ? -1 : 1;
    const double tau_s = climb(filter, static_cast<double>(starts[i]) / kAnalysisRateHz, sign);
    tops.push_back({tau_s, sign * likelihood(filter, tau_s).value, sign});
  }
  std::stable_sort(tops.begin(), tops.end(),
                   [](const Top& a, const Top& b) { return a.value > b.value; });
  const Top& best = tops.front();
  double rival = 0.0;
  for (const Top& top : tops)
    if (std::abs(top.tau_s - best.tau_s) > kRivalGuard_s) rival = std::max(rival, top.value);
  for (const int lag : starts)
    if (std::abs(lag - static_cast<int>(std::lround(best.tau_s * kAnalysisRateHz))) > guard) {
      rival = std::max(rival, 0.5 * static_cast<double>(value_at(lag)));
      break;
    }

  const PhaseLine line = fit_phase(filter, best.tau_s, best.sign);
  reading.coherence = best.value / weights;
  reading.peak_sigma = best.value / std::sqrt(0.5 * kBinsShare * squares);
  reading.offset_s = line.tau_s;
  reading.inverted = best.sign < 0.0;
  reading.rival = best.value > 0.0 ? rival / best.value : 1.0;
  reading.sigma_s = line.sigma_s;
  reading.dispersion_s = dispersion(filter, line.tau_s, best.sign);
  reading.heard = reading.peak_sigma >= kLeastPeakSigma && reading.coherence > 0.15 &&
                  std::abs(best.tau_s) < search_s;
  return reading;
}

}  // namespace

Result<std::vector<Reading>> WindowMeter::measure(const AnalysisSignal& mix,
                                                  const std::vector<MappedTrack>& tracks,
                                                  double from_s, double length_s) {
  Buffers& my = *buffers_;
  std::vector<Reading> readings(tracks.size());
  std::vector<std::size_t> present;
  for (std::size_t k = 0; k < tracks.size(); ++k) {
    const auto spans = tracks[k].map->spans();
    if (spans.front().line_from_s < from_s + length_s && spans.back().line_to_s > from_s)
      present.push_back(k);
  }
  if (present.empty()) return readings;

  const auto first = static_cast<std::int64_t>(std::llround(from_s * kAnalysisRateHz));
  const int frames =
      std::max(1, static_cast<int>((length_s * kAnalysisRateHz - kFrame) / kHop) + 1);
  my.clear(present.size());
  my.mix_samples.resize(static_cast<std::size_t>(kFrame + (frames - 1) * kHop));
  if (auto read = mix.read(first, my.mix_samples); !read) return read.error();

  double mix_energy = 0.0;
  for (int f = 0; f < frames; ++f) {
    const float* mix_frame = my.mix_samples.data() + static_cast<std::ptrdiff_t>(f) * kHop;
    mix_energy += mean_square(mix_frame);
    my.transform(mix_frame, my.mix);
    const std::int64_t centre = first + static_cast<std::int64_t>(f) * kHop + kFrame / 2;
    for (std::size_t i = 0; i < present.size(); ++i)
      if (auto taken =
              my.take_frame(i, tracks[present[i]], static_cast<double>(centre) / kAnalysisRateHz);
          !taken)
        return taken.error();
    my.accumulate_frame(present.size(), options_.joint);
  }
  if (mix_energy / frames < kSilence) return readings;

  // Digitally silent tracks would make the matrix singular and say nothing anyway.
  std::vector<std::size_t> live;
  for (std::size_t i = 0; i < present.size(); ++i)
    if (my.energy[i] / frames >= kSilence) live.push_back(i);
  const std::size_t m = live.size();
  if (m == 0) return readings;
  my.filters.resize(std::max(my.filters.size(), m));

  const double averages = static_cast<double>(frames) / kOverlapLoss;
  if (options_.joint) {
    if (!my.solve(live, 0, m, averages)) return readings;
  } else {
    for (std::size_t i = 0; i < m; ++i)
      if (!my.solve({live[i]}, i, 1, averages)) return readings;
  }
  for (std::size_t i = 0; i < m; ++i)
    readings[present[live[i]]] =
        read_delay(my.filters[i], my.fft, my.bins, my.frame, options_.search_s);
  return readings;
}

}  // namespace kilter::sync
