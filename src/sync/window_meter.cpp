#include "kilter/sync/window_meter.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <iterator>
#include <numbers>
#include <optional>
#include <utility>

#include "kilter/base/wide_loops.h"
#include "wide_bands.h"

namespace kilter::sync {
namespace {

constexpr int kFrame = 4096;
constexpr int kHop = kFrame / 2;
constexpr double kBandFrom_hz = 120.0;
constexpr double kBandTo_hz = 7200.0;
constexpr int kFirstBin = static_cast<int>(kBandFrom_hz * kFrame / kAnalysisRateHz) + 1;
constexpr int kLastBin = static_cast<int>(kBandTo_hz * kFrame / kAnalysisRateHz);
constexpr std::size_t kBins = kLastBin - kFirstBin + 1;
constexpr std::size_t kLanes = 8;
constexpr std::size_t kPadded = (kBins + kLanes - 1) / kLanes * kLanes;  // zeros behind the band
constexpr std::size_t kTogether = 4;                                     // frames added at once
constexpr std::size_t kBlockBins = 128;  // of so many tracks' frames that they stay in the cache
constexpr double kRidge = 1e-4;          // of each track's own power; above float rounding
constexpr double kEvidenceKnee = 50.0;   // above, a bin's say grows no further
constexpr double kOverlapLoss = 1.06;  // Welch: half-overlapped Hann frames are nearly independent
constexpr double kBinsShare = 1.5;     // Hann: neighbouring bins are not independent
constexpr double kPhaseFrom = 2.0 * std::numbers::pi * 200.0;  // radians per second
constexpr double kRivalGuard_s = 0.4e-3;
constexpr double kSilence = 1e-14;  // mean square of a frame that holds nothing
constexpr double kLeastPeakSigma = 6.0;

constexpr double bin_omega(std::size_t b) {
  return 2.0 * std::numbers::pi * (kFirstBin + static_cast<double>(b)) * kAnalysisRateHz / kFrame;
}

constexpr double kOmegaStep = bin_omega(1) - bin_omega(0);

/// One complex value per bin of the band, split so that loops over bins vectorise.
struct Band {
  std::vector<float> re = std::vector<float>(kPadded, 0.0F);
  std::vector<float> im = std::vector<float>(kPadded, 0.0F);
  void clear() {
    std::fill(re.begin(), re.end(), 0.0F);
    std::fill(im.begin(), im.end(), 0.0F);
  }
  Split split() { return {re, im}; }
  ConstSplit split() const { return {re, im}; }
};

/// A track's filter into the mix: its phase as a unit vector, and the evidence of each bin.
struct Filter {
  Band phase;
  std::vector<float> weight = std::vector<float>(kPadded, 0.0F);
  std::vector<float> evidence = std::vector<float>(kPadded, 0.0F);  // 1 / (2 var of the phase)
};

/// Angular frequency of each bin over kKnee, and its inverse.
constexpr double kKnee = 2.0 * std::numbers::pi * 1000.0;
struct Axis {
  std::vector<float> up = std::vector<float>(kPadded);
  std::vector<float> down = std::vector<float>(kPadded);
  Axis() {
    for (std::size_t b = 0; b < kPadded; ++b) {
      up[b] = static_cast<float>(bin_omega(b) / kKnee);
      down[b] = static_cast<float>(kKnee / bin_omega(b));
    }
  }
};
const Axis& axis() {
  static const Axis made;
  return made;
}

double sum_of(const Float8& lanes) {
  double sum = 0.0;
  for (std::size_t lane = 0; lane < kLanes; ++lane) sum += static_cast<double>(lanes[lane]);
  return sum;
}

/// Takes a delay out of a filter's phase; `sign` -1 where the sound is upside down.
void turn_back(const Filter& filter, double tau_s, double sign, Band& out) {
  const double half_turn = sign < 0.0 ? std::numbers::pi : 0.0;
  turn(filter.phase.split(), bin_omega(0) * tau_s + half_turn, kOmegaStep * tau_s, out.split());
}

/// The likelihood of a delay, with its first two derivatives.
struct Likelihood {
  double value{0.0};
  double slope{0.0};
  double curvature{0.0};
};

/// Of the delay and sign that `turned` was turned back by.
KILTER_WIDE Likelihood likelihood(const Band& turned, const std::vector<float>& weight) {
  Float8 value{}, slope{}, curvature{};
  Float8 c{}, s{}, w{}, x{};
  for (std::size_t b = 0; b < kPadded; b += kLanes) {
    load(&turned.re[b], c);
    load(&turned.im[b], s);
    load(&weight[b], w);
    load(&axis().up[b], x);
    value += w * c;
    slope -= w * x * s;
    curvature -= w * x * x * c;
  }
  return {sum_of(value), kKnee * sum_of(slope), kKnee * kKnee * sum_of(curvature)};
}

/// Where a likelihood is highest, and how high.
struct Top {
  double tau_s{0.0};
  double value{0.0};
  double sign{1.0};
};

/// Climbs to the top of the peak near `tau_s`; `sign` -1 for a trough.
Top climb(const Filter& filter, double tau_s, double sign, Band& turned) {
  constexpr double kWidest = 0.5 / kAnalysisRateHz;
  constexpr double kNear_s = 1e-9;  // the phase finds the rest
  double moved = 0.0;
  Likelihood at;
  for (int i = 0; i < 12; ++i) {
    turn_back(filter, tau_s, sign, turned);
    at = likelihood(turned, filter.weight);
    double step =
        at.curvature < 0.0 ? -at.slope / at.curvature : std::copysign(0.25 * kWidest, at.slope);
    step = std::clamp(step, -0.5 * kWidest, 0.5 * kWidest);
    if (std::abs(moved + step) > 2.0 * kWidest || std::abs(step) < kNear_s) break;
    tau_s += step;
    moved += step;
  }
  return {tau_s, at.value, sign};
}

/// The delay that the phase says, once what a high-pass does to it is told apart.
struct PhaseLine {
  double tau_s{0.0};
  double sigma_s{0.0};
};

/// Angle of a unit vector less than 80 degrees off the real axis, to 1e-7: twice the arc tangent of
/// the tangent of half the angle, by a polynomial through Chebyshev's nodes.
[[gnu::always_inline]] inline void small_angle(const Float8& re, const Float8& im, Float8& angle) {
  const Float8 t = im / (1.0F + re);
  const Float8 s = t * t;
  Float8 sum = 0.0145640685F * s - 0.0519972081F;
  sum = sum * s + 0.0964911034F;
  sum = sum * s - 0.139781304F;
  sum = sum * s + 0.199677258F;
  sum = sum * s - 0.333320253F;
  sum = sum * s + 0.999999911F;
  angle = 2.0F * t * sum;
}

constexpr float kPhaseFrom_x = static_cast<float>(kPhaseFrom / kKnee);
constexpr float kLeastRe = 0.2F;  // more than 78 degrees off: another voice's bin

/// Delay of the upper half of the evidence less that of the lower half, round the peak: what a
/// codec or a filter that delays some frequencies more than others leaves uncertain.
KILTER_WIDE double dispersion(const Band& turned, const std::vector<float>& weight) {
  double total = 0.0;
  for (const float w : weight) total += static_cast<double>(w);
  double passed = 0.0;
  double moment[2] = {};
  double square[2] = {};
  Float8 re{}, im{}, w{}, x{}, angle{};
  for (std::size_t b = 0; b < kPadded; b += kLanes) {
    const int half = passed < 0.5 * total ? 0 : 1;
    load(&turned.re[b], re);
    load(&turned.im[b], im);
    load(&weight[b], w);
    load(&axis().up[b], x);
    passed += sum_of(w);
    const auto counts = (re > kLeastRe) & (x >= kPhaseFrom_x);
    small_angle(re, im, angle);
    const Float8 each = counts ? w * x * angle : Float8{};
    const Float8 say = counts ? w * x * x : Float8{};
    moment[half] -= sum_of(each);
    square[half] += sum_of(say);
  }
  if (square[0] <= 0.0 || square[1] <= 0.0) return 0.0;
  return (moment[1] / square[1] - moment[0] / square[0]) / kKnee;
}

/// Sums for a fit of the phase on x = omega / knee and y = knee / omega: `v` of the products with
/// the phase's variance.
struct PhaseSums {
  double xx{0.0}, xy{0.0}, yy{0.0}, xr{0.0}, yr{0.0};
  double vxx{0.0}, vxy{0.0}, vyy{0.0};
};

KILTER_WIDE PhaseSums phase_sums(const Band& turned, const Filter& filter) {
  Float8 xx{}, xy{}, yy{}, xr{}, yr{}, vxx{}, vxy{}, vyy{};
  Float8 re{}, im{}, weight{}, evidence{}, x{}, y{}, r{};
  for (std::size_t b = 0; b < kPadded; b += kLanes) {
    load(&turned.re[b], re);
    load(&turned.im[b], im);
    load(&filter.weight[b], weight);
    load(&filter.evidence[b], evidence);
    load(&axis().up[b], x);
    load(&axis().down[b], y);
    const auto counts = (re > kLeastRe) & (x >= kPhaseFrom_x) & (weight > 0.0F);
    const Float8 w = counts ? weight * re : Float8{};
    small_angle(re, im, r);
    r = counts ? r : Float8{};
    const Float8 v = counts ? w * w / (2.0F * evidence) : Float8{};
    xx += w * x * x;
    xy += w;
    yy += w * y * y;
    xr += w * x * r;
    yr += w * y * r;
    vxx += v * x * x;
    vxy += v;
    vyy += v * y * y;
  }
  return {sum_of(xx), sum_of(xy),  sum_of(yy),  sum_of(xr),
          sum_of(yr), sum_of(vxx), sum_of(vxy), sum_of(vyy)};
}

/// Weighted least squares of the phase round the peak on [omega, 1/omega]. A channel's or a speech
/// codec's high-pass leads by a phase that falls as 1/f far above its corner (first term of the
/// Butterworth phase in powers of corner / f); left in, it would pull the delay of a voice that is
/// strong in the low band tens of microseconds early.
PhaseLine fit_phase(const Filter& filter, double tau_s, double sign, Band& turned) {
  PhaseLine result{tau_s, 1.0};
  for (int round = 0; round < 3; ++round) {
    turn_back(filter, result.tau_s, sign, turned);
    const PhaseSums sum = phase_sums(turned, filter);
    const double yy = sum.yy * (1.0 + 1e-3) + 1e-12;  // a prior
    const double determinant = sum.xx * yy - sum.xy * sum.xy;
    if (!(determinant > 1e-9 * sum.xx * sum.yy)) return result;
    const double gx = yy / determinant;
    const double gy = -sum.xy / determinant;
    const double correction_s = (gx * sum.xr + gy * sum.yr) / kKnee;
    // H = e^{-j omega tau}: a phase left over after turning by tau means that tau is too large.
    result.tau_s -= correction_s;
    result.sigma_s =
        std::sqrt(kBinsShare * (gx * gx * sum.vxx + 2.0 * gx * gy * sum.vxy + gy * gy * sum.vyy)) /
        kKnee;
    if (std::abs(correction_s) < 1e-9) break;
  }
  return result;
}

/// Complex numbers of four bins side by side.
struct Complex4 {
  Double4 re{};
  Double4 im{};
};

[[gnu::always_inline]] inline void load(const Band& band, std::size_t b, Complex4& to) {
  Float4 re{}, im{};
  kilter::load(&band.re[b], re);
  kilter::load(&band.im[b], im);
  to.re = __builtin_convertvector(re, Double4);
  to.im = __builtin_convertvector(im, Double4);
}
/// sum -= a * conj(b)
[[gnu::always_inline]] inline void take_conjugate(const Complex4& a, const Complex4& b,
                                                  Complex4& sum) {
  sum.re -= a.re * b.re + a.im * b.im;
  sum.im -= a.im * b.re - a.re * b.im;
}
/// sum += a * b
[[gnu::always_inline]] inline void add_product(const Complex4& a, const Complex4& b,
                                               Complex4& sum) {
  sum.re += a.re * b.re - a.im * b.im;
  sum.im += a.re * b.im + a.im * b.re;
}
[[gnu::always_inline]] inline void add_norm(const Complex4& a, Double4& sum) {
  sum += a.re * a.re + a.im * a.im;
}
/// Roots of what is above 0.
[[gnu::always_inline]] inline void root_of(const Double4& square, Double4& root) {
  for (int lane = 0; lane < 4; ++lane) root[lane] = std::sqrt(square[lane]);
}

/// The tracks' matrix of four bins, row-major; of Hermitian ones the lower triangle.
class Matrix4 {
 public:
  void resize(std::size_t n) {
    n_ = n;
    cells_.resize(n * n);
  }
  std::size_t size() const { return n_; }
  Complex4& at(std::size_t row, std::size_t column) { return cells_[row * n_ + column]; }
  const Complex4& at(std::size_t row, std::size_t column) const {
    return cells_[row * n_ + column];
  }

 private:
  std::size_t n_{0};
  FftVector<Complex4> cells_;
};

/// Cholesky's factor in place. Where a bin has none, `usable` falls to 0 and its figures mean
/// nothing.
[[gnu::always_inline]] inline void factorise(Matrix4& a, Double4& usable) {
  const std::size_t n = a.size();
  for (std::size_t j = 0; j < n; ++j) {
    Double4 diagonal = a.at(j, j).re;
    for (std::size_t k = 0; k < j; ++k) {
      Double4 norm{};
      add_norm(a.at(j, k), norm);
      diagonal -= norm;
    }
    const auto good = diagonal > 0.0;
    usable = good ? usable : Double4{};
    diagonal = good ? diagonal : Double4{} + 1.0;
    Double4 root{};
    root_of(diagonal, root);
    a.at(j, j) = {root, Double4{}};
    for (std::size_t i = j + 1; i < n; ++i) {
      Complex4 sum = a.at(i, j);
      for (std::size_t k = 0; k < j; ++k) take_conjugate(a.at(i, k), a.at(j, k), sum);
      a.at(i, j) = {sum.re / root, sum.im / root};
    }
  }
}

/// Inverse of a lower triangle.
[[gnu::always_inline]] inline void invert_lower(const Matrix4& lower, Matrix4& inverse) {
  const std::size_t n = lower.size();
  for (std::size_t column = 0; column < n; ++column) {
    inverse.at(column, column) = {1.0 / lower.at(column, column).re, Double4{}};
    for (std::size_t row = column + 1; row < n; ++row) {
      Complex4 sum;
      for (std::size_t k = column; k < row; ++k)
        add_product(lower.at(row, k), inverse.at(k, column), sum);
      const Double4& pivot = lower.at(row, row).re;
      inverse.at(row, column) = {-sum.re / pivot, -sum.im / pivot};
    }
  }
}

/// Frames of a track that follow each other closely, read in blocks.
class FrameReader {
 public:
  /// kFrame samples round frame `centre`, about `more` of which follow, kHop apart; valid until the
  /// next call.
  Result<const float*> at(const AnalysisSignal& signal, std::int64_t centre, int more) {
    const std::int64_t from = centre - kFrame / 2;
    if (block_.empty() || from < first_ || from + kFrame > first_ + std::ssize(block_)) {
      const std::size_t wanted = kFrame + static_cast<std::size_t>(more) * kHop + kSlack;
      block_.resize(std::min(kBlock, wanted));
      first_ = from;
      if (auto read = signal.read(first_, block_); !read) return read.error();
    }
    return block_.data() + (from - first_);
  }
  void forget() { block_.clear(); }

 private:
  static constexpr std::size_t kBlock = 16 * kFrame;
  static constexpr std::size_t kSlack = 64;  // for clocks that differ
  std::vector<float> block_;
  std::int64_t first_{0};
};

}  // namespace

struct WindowMeter::Buffers {
  RealFft fft{kFrame};
  std::vector<float> window = hann_window(kFrame);
  FftVector<float> frame = FftVector<float>(kFrame);
  FftVector<std::complex<float>> bins = FftVector<std::complex<float>>(kFrame / 2 + 1);
  std::vector<float> mix_samples;
  std::vector<FrameReader> readers;
  std::vector<Band> mix = std::vector<Band>(kTogether);  // by frame
  std::vector<Band> tracks;                              // by track, then frame
  std::vector<ConstSplit> mix_frames;                    // of them, as many as are taken
  std::vector<std::vector<ConstSplit>> track_frames;
  std::vector<float> mix_power = std::vector<float>(kPadded);
  std::vector<Band> cross_mix;     // q: conj(track) * mix
  std::vector<Band> cross_tracks;  // R, lower triangle: conj(row) * column
  std::vector<double> energy;
  std::vector<Filter> filters;
  Band turned;
  Matrix4 matrix;
  Matrix4 inverse;
  FftVector<Complex4> half;

  /// Returns the frame's mean square.
  double transform(const float* samples, Band& out) {
    const double mean_square = window_frame(samples, window, frame) / kFrame;
    fft.forward(frame, bins);
    split(&bins[kFirstBin], {std::span(out.re).first(kBins), std::span(out.im).first(kBins)});
    return mean_square;
  }

  void clear(std::size_t n) {
    tracks.resize(std::max(tracks.size(), n * kTogether));
    track_frames.resize(std::max(track_frames.size(), n));
    readers.resize(std::max(readers.size(), n));
    cross_mix.resize(std::max(cross_mix.size(), n));
    cross_tracks.resize(std::max(cross_tracks.size(), n * (n + 1) / 2));
    energy.assign(n, 0.0);
    std::fill(mix_power.begin(), mix_power.end(), 0.0F);
    for (std::size_t i = 0; i < n; ++i) cross_mix[i].clear();
    for (std::size_t i = 0; i < n * (n + 1) / 2; ++i) cross_tracks[i].clear();
    mix_frames.clear();
    for (auto& frames : track_frames) frames.clear();
    for (FrameReader& reader : readers) reader.forget();
  }

  /// The spectrum of track `i` where its map puts timeline second `line_s`; nothing outside it.
  /// About `more` frames will follow.
  Result<void> take_frame(std::size_t i, const MappedTrack& track, double line_s, int more) {
    Band& taken = tracks[i * kTogether + track_frames[i].size()];
    track_frames[i].push_back(std::as_const(taken).split());
    const auto track_s = track.map->to_track(line_s);
    if (!track_s) {
      taken.clear();
      return {};
    }
    const double place = *track_s * kAnalysisRateHz;
    const auto whole = static_cast<std::int64_t>(std::llround(place));
    const auto samples = readers[i].at(*track.signal, whole, more);
    if (!samples) return samples.error();
    energy[i] += transform(*samples, taken);
    const double step = 2.0 * std::numbers::pi * (place - static_cast<double>(whole)) / kFrame;
    turn(taken.split(), step * kFirstBin, step, taken.split());
    return {};
  }

  /// Adds the frames taken so far to the sums, and lets go of them.
  void accumulate_frames(std::size_t n, bool joint) {
    for (std::size_t from = 0; from < kPadded; from += kBlockBins) {
      const std::size_t to = std::min(kPadded, from + kBlockBins);
      add_powers(mix_frames, from, to, mix_power);
      for (std::size_t i = 0; i < n; ++i) {
        const std::size_t row = i * (i + 1) / 2;
        add_crosses(track_frames[i], mix_frames, from, to, cross_mix[i].split());
        for (std::size_t j = joint ? 0 : i; j < i; ++j)
          add_crosses(track_frames[i], track_frames[j], from, to, cross_tracks[row + j].split());
        add_powers(track_frames[i], from, to, cross_tracks[row + i].re);
      }
    }
    mix_frames.clear();
    for (auto& frames : track_frames) frames.clear();
  }

  /// Solves R H = q for the tracks `live` in every bin, into filters[at] .. filters[at + m - 1].
  /// False when there are too few frames for so many tracks.
  bool solve(const std::vector<std::size_t>& live, std::size_t at, double averages) {
    const double freedom = averages - static_cast<double>(live.size());
    if (freedom < 2.0) return false;
    matrix.resize(live.size());
    inverse.resize(live.size());
    half.resize(live.size());
    for (std::size_t b = 0; b < kPadded; b += 4) solve_four(live, at, freedom, b);
    return true;
  }

  /// The same for four bins from `b` on.
  KILTER_WIDE void solve_four(const std::vector<std::size_t>& live, std::size_t at, double freedom,
                              std::size_t b) {
    const std::size_t m = live.size();
    Double4 usable = Double4{} + 1.0;
    for (std::size_t i = 0; i < m; ++i) {
      const std::size_t row = live[i] * (live[i] + 1) / 2;
      for (std::size_t j = 0; j <= i; ++j) load(cross_tracks[row + live[j]], b, matrix.at(i, j));
      Double4& power = matrix.at(i, i).re;
      usable = power > 0.0 ? usable : Double4{};
      power *= 1.0 + kRidge;
    }
    factorise(matrix, usable);
    invert_lower(matrix, inverse);
    // With R = L L^H: H = L^-H (L^-1 q), explained = |L^-1 q|^2, and R^-1's diagonal from L^-1.
    Double4 explained{};
    for (std::size_t i = 0; i < m; ++i) {
      Complex4 sum;
      Complex4 q;
      for (std::size_t j = 0; j <= i; ++j) {
        load(cross_mix[live[j]], b, q);
        add_product(inverse.at(i, j), q, sum);
      }
      half[i] = sum;
      add_norm(sum, explained);
    }
    Float4 mix_here{};
    kilter::load(&mix_power[b], mix_here);
    const Double4 power = __builtin_convertvector(mix_here, Double4);
    const Double4 least = 1e-6 * power;
    Double4 rest = power - explained;
    rest = (rest > least ? rest : least) / freedom;
    for (std::size_t i = 0; i < m; ++i) {
      Complex4 h;
      Double4 spread{};
      for (std::size_t k = i; k < m; ++k) {
        const Complex4 conjugate{inverse.at(k, i).re, -inverse.at(k, i).im};
        add_product(conjugate, half[k], h);
        add_norm(conjugate, spread);
      }
      Double4 norm{};
      add_norm(h, norm);
      Double4 magnitude{};
      root_of(norm, magnitude);
      // F statistic of the track's share in this bin, less what chance gives.
      Double4 evidence = norm / (spread * rest) - 1.0;
      evidence = ((usable > 0.0) & (rest > 0.0) & (evidence > 0.0)) ? evidence : Double4{};
      const auto sounds = magnitude > 0.0;
      const Double4 re = sounds ? h.re / magnitude : Double4{};
      const Double4 im = sounds ? h.im / magnitude : Double4{};
      const Double4 weight = evidence / (1.0 + evidence / kEvidenceKnee);
      Filter& filter = filters[at + i];
      store(__builtin_convertvector(evidence, Float4), &filter.evidence[b]);
      store(__builtin_convertvector(weight, Float4), &filter.weight[b]);
      store(__builtin_convertvector(re, Float4), &filter.phase.re[b]);
      store(__builtin_convertvector(im, Float4), &filter.phase.im[b]);
    }
  }
};

WindowMeter::WindowMeter(const MeterOptions& options)
    : options_(options), buffers_(std::make_unique<Buffers>()) {}
WindowMeter::~WindowMeter() = default;
WindowMeter::WindowMeter(WindowMeter&&) noexcept = default;

namespace {

/// The highest point of the likelihood within the search, and the next one elsewhere.
Reading read_delay(const Filter& filter, const RealFft& fft, FftVector<std::complex<float>>& bins,
                   FftVector<float>& lags, Band& turned, double search_s) {
  Reading reading;
  double weights = 0.0;
  double squares = 0.0;
  std::fill(bins.begin(), bins.end(), std::complex<float>{});
  for (std::size_t b = 0; b < kBins; ++b) {
    const float w = filter.weight[b];
    weights += static_cast<double>(w);
    squares += static_cast<double>(w * w);
    bins[kFirstBin + b] = {w * filter.phase.re[b], w * filter.phase.im[b]};
  }
  if (weights <= 0.0) return reading;
  fft.inverse(bins, lags);

  const int reach = std::min(static_cast<int>(search_s * kAnalysisRateHz), kFrame / 2 - 2);
  const auto value_at = [&](int lag) {
    return std::abs(lags[static_cast<std::size_t>((lag + kFrame) % kFrame)]);
  };
  const int guard = static_cast<int>(kRivalGuard_s * kAnalysisRateHz);
  std::vector<int> peaks;
  float highest = 0.0F;
  for (int lag = -reach; lag <= reach; ++lag)
    if (value_at(lag) >= value_at(lag - 1) && value_at(lag) > value_at(lag + 1)) {
      peaks.push_back(lag);
      highest = std::max(highest, value_at(lag));
    }
  if (peaks.empty()) return reading;
  // A peak between two lags of the grid shows up to a third lower there: climb from the best few.
  std::vector<int> starts;
  std::copy_if(peaks.begin(), peaks.end(), std::back_inserter(starts),
               [&](int lag) { return value_at(lag) >= 0.5F * highest; });
  std::stable_sort(starts.begin(), starts.end(),
                   [&](int a, int b) { return value_at(a) > value_at(b); });
  std::vector<Top> tops;
  for (std::size_t i = 0; i < std::min<std::size_t>(starts.size(), 6); ++i) {
    const double sign =
        lags[static_cast<std::size_t>((starts[i] + kFrame) % kFrame)] < 0.0F ? -1 : 1;
    tops.push_back(climb(filter, static_cast<double>(starts[i]) / kAnalysisRateHz, sign, turned));
  }
  std::stable_sort(tops.begin(), tops.end(),
                   [](const Top& a, const Top& b) { return a.value > b.value; });
  const Top& best = tops.front();
  double rival = 0.0;
  for (const Top& top : tops)
    if (std::abs(top.tau_s - best.tau_s) > kRivalGuard_s) rival = std::max(rival, top.value);
  const int best_lag = static_cast<int>(std::lround(best.tau_s * kAnalysisRateHz));
  for (const int lag : peaks)
    if (std::abs(lag - best_lag) > guard)
      rival = std::max(rival, 0.5 * static_cast<double>(value_at(lag)));

  const PhaseLine line = fit_phase(filter, best.tau_s, best.sign, turned);
  reading.coherence = best.value / weights;
  reading.peak_sigma = best.value / std::sqrt(0.5 * kBinsShare * squares);
  reading.offset_s = line.tau_s;
  reading.inverted = best.sign < 0.0;
  reading.rival = best.value > 0.0 ? rival / best.value : 1.0;
  reading.sigma_s = line.sigma_s;
  turn_back(filter, line.tau_s, best.sign, turned);
  reading.dispersion_s = dispersion(turned, filter.weight);
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
    Band& mix_taken = my.mix[my.mix_frames.size()];
    my.mix_frames.push_back(std::as_const(mix_taken).split());
    mix_energy += my.transform(mix_frame, mix_taken);
    const std::int64_t centre = first + static_cast<std::int64_t>(f) * kHop + kFrame / 2;
    for (std::size_t i = 0; i < present.size(); ++i)
      if (auto taken = my.take_frame(i, tracks[present[i]],
                                     static_cast<double>(centre) / kAnalysisRateHz, frames - 1 - f);
          !taken)
        return taken.error();
    if (my.mix_frames.size() == kTogether || f + 1 == frames)
      my.accumulate_frames(present.size(), options_.joint);
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
    if (!my.solve(live, 0, averages)) return readings;
  } else {
    for (std::size_t i = 0; i < m; ++i)
      if (!my.solve({live[i]}, i, averages)) return readings;
  }
  for (std::size_t i = 0; i < m; ++i)
    readings[present[live[i]]] =
        read_delay(my.filters[i], my.fft, my.bins, my.frame, my.turned, options_.search_s);
  return readings;
}

}  // namespace kilter::sync
