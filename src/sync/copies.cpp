#include "kilter/sync/copies.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <optional>
#include <utility>

#include "kilter/base/median.h"
#include "kilter/base/parallel.h"
#include "kilter/signal/fft.h"
#include "kilter/sync/line_fit.h"
#include "wide_bands.h"

namespace kilter::sync {
namespace {

constexpr int kFrame = 4096;
constexpr int kHop = kFrame / 2;
constexpr int kFrames = 22;  // of a window: 3 s
constexpr int kMostWindows = 40;
constexpr double kWindow_s = static_cast<double>(kFrame + (kFrames - 1) * kHop) / kAnalysisRateHz;
constexpr double kBandFrom_hz = 200.0;
constexpr double kBandTo_hz = 7000.0;
constexpr std::size_t kFirstBin = static_cast<std::size_t>(kBandFrom_hz * kFrame / kAnalysisRateHz);
constexpr std::size_t kBins =
    static_cast<std::size_t>(kBandTo_hz * kFrame / kAnalysisRateHz) - kFirstBin;
constexpr std::size_t kBands = 20;
constexpr double kSearch_s = 0.060;  // two first maps are off by less
constexpr double kLeastCoherence = 0.15;
constexpr std::size_t kLeastTogether = 3;  // windows in which two signals have one delay
constexpr double kQuiet = 1e-2;            // of the signal's loudest window
constexpr double kRidge = 1e-6;

// Measured, bleed of -8 to -1 dB: a microphone leaves -5 dB of its neighbour over all windows, and
// -10 in its best one; a second microphone of the same person, 1 to 3 ms away, no less. A copy
// through Opus at 48 or MP3 at 64 kbit/s leaves -18 to -22, MP3 of the mix -29, in every window
// -10 or better. So does the one talker of a session of the mix, and 35 windows of 40 of a mix do
// of a guest who speaks 90 %: a copy of the mix has to hold more than one.
constexpr double kCopy_db = -12.0;
constexpr double kDeep_db = -10.0;  // in one window
constexpr double kShallow_db = -4.0;
constexpr double kApart_db = 6.0;    // who talks alone, and a neighbour's microphone beside him
constexpr double kNearlyAll = 0.85;  // of the windows
constexpr double kMost = 0.7;
constexpr std::size_t kLeastWindows = 2;
constexpr double kSameClock = 0.5e-6;
constexpr double kSameLevel_db = 2.0;
// Of one recorder: bleed comes later by a metre of air, 3 ms; a mixer's channels do not.
constexpr double kOneRecorder_s = 0.020;
constexpr double kOneRecorder = 60e-6;
constexpr double kSameDelay_s = 0.3e-3;

using Complex = std::complex<double>;

double decibels(double power) { return 10.0 * std::log10(std::max(power, 1e-12)); }

/// A signal and when its frames are heard in the mix.
struct Placed {
  const AnalysisSignal* signal{nullptr};
  double lag_s{0.0};
  double slope{1.0};  // mix seconds per track second

  double at(double mix_s) const { return (mix_s - lag_s) / slope; }
};

/// Frames of a window as spectra: bin b of frame f at [f * kBins + b].
struct Spectra {
  std::vector<float> re = std::vector<float>(kFrames * kBins);
  std::vector<float> im = std::vector<float>(kFrames * kBins);
};

/// Per thread.
class Analyser {
 public:
  /// Frames round the mix seconds from `from_s` on, each moved to the fraction of a sample that
  /// `placed` asks for, heard `late_s` (+ `slope` * mix seconds) later.
  Result<void> take(const Placed& placed, double from_s, double late_s, double slope,
                    Spectra& out) {
    for (int f = 0; f < kFrames; ++f) {
      const double mix_s = from_s + static_cast<double>(f * kHop + kFrame / 2) / kAnalysisRateHz;
      const double place = (placed.at(mix_s) + late_s + slope * mix_s) * kAnalysisRateHz;
      const auto whole = static_cast<std::int64_t>(std::llround(place));
      if (auto read = placed.signal->read(whole - kFrame / 2, samples_); !read) return read.error();
      multiply(samples_.data(), window_, buffer_);
      fft_.forward(buffer_, bins_);
      const Split frame{std::span(out.re).subspan(static_cast<std::size_t>(f) * kBins, kBins),
                        std::span(out.im).subspan(static_cast<std::size_t>(f) * kBins, kBins)};
      split(&bins_[kFirstBin], frame);
      const double angle = 2.0 * std::numbers::pi * (place - static_cast<double>(whole)) / kFrame;
      turn(frame, angle * static_cast<double>(kFirstBin), angle, frame);
    }
    return {};
  }

  /// How much later than its map says `b` is heard against `a`, if one delay stands out.
  std::optional<Observation> delay(const Spectra& a, const Spectra& b, double mix_s) {
    std::fill(bins_.begin(), bins_.end(), std::complex<float>{});
    double weights = 0.0;
    for (std::size_t k = 0; k < kBins; ++k) {
      float re = 0.0F, im = 0.0F, power_a = 0.0F, power_b = 0.0F;
      for (std::size_t i = k; i < kFrames * kBins; i += kBins) {
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
      return std::abs(
          static_cast<double>(buffer_[static_cast<std::size_t>(lag + kFrame) % kFrame]));
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

 private:
  RealFft fft_{kFrame};
  std::vector<float> window_ = hann_window(kFrame);
  std::vector<float> samples_ = std::vector<float>(kFrame);
  FftVector<float> buffer_ = FftVector<float>(kFrame);
  FftVector<std::complex<float>> bins_ = FftVector<std::complex<float>>(kFrame / 2 + 1);
};

/// Bands of equal width on a scale that is linear at first and logarithmic above 700 Hz.
std::array<std::size_t, kBands + 1> band_edges() {
  std::array<std::size_t, kBands + 1> edges{};
  const double low = std::log1p(kBandFrom_hz / 700.0);
  const double high = std::log1p(kBandTo_hz / 700.0);
  for (std::size_t i = 0; i <= kBands; ++i) {
    const double hz = 700.0 * std::expm1(low + (high - low) * static_cast<double>(i) / kBands);
    const auto bin = static_cast<std::size_t>(hz * kFrame / kAnalysisRateHz);
    edges[i] = std::clamp(bin, kFirstBin, kFirstBin + kBins) - kFirstBin;
  }
  edges[kBands] = kBins;
  return edges;
}

/// Whether two tracks may be of one recorder, as their first maps tell.
bool on_one_clock(const Placed& a, const Placed& b) {
  return std::abs(a.lag_s - b.lag_s) < kOneRecorder_s && std::abs(a.slope - b.slope) < kOneRecorder;
}

/// What two signals have to do with each other in one window.
struct Meeting {
  double power_a{0.0};
  double power_b{0.0};
  double rest_a{0.0};  // what b leaves unexplained of a
  double rest_b{0.0};
  double cross{0.0};  // real part of the cross-spectrum's sum
};

Meeting meet(const Spectra& a, const Spectra& b) {
  static const auto edges = band_edges();
  Meeting meeting;
  for (std::size_t band = 0; band < kBands; ++band) {
    Complex cross;
    double power_a = 0.0;
    double power_b = 0.0;
    for (std::size_t f = 0; f < kFrames; ++f) {
      float re = 0.0F, im = 0.0F, sum_a = 0.0F, sum_b = 0.0F;
      for (std::size_t i = f * kBins + edges[band]; i < f * kBins + edges[band + 1]; ++i) {
        re += a.re[i] * b.re[i] + a.im[i] * b.im[i];
        im += a.re[i] * b.im[i] - a.im[i] * b.re[i];
        sum_a += a.re[i] * a.re[i] + a.im[i] * a.im[i];
        sum_b += b.re[i] * b.re[i] + b.im[i] * b.im[i];
      }
      cross += Complex(static_cast<double>(re), static_cast<double>(im));
      power_a += static_cast<double>(sum_a);
      power_b += static_cast<double>(sum_b);
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

/// What all sources together leave unexplained of the target, a gain and a phase per band and
/// source, as a share of its power.
double unexplained_share(const Spectra& target, const std::vector<Spectra>& sources) {
  static const auto edges = band_edges();
  const std::size_t n = sources.size();
  double power = 0.0;
  double explained = 0.0;
  for (std::size_t band = 0; band < kBands; ++band) {
    const auto sum = [&](const Spectra& a, const Spectra& b) {
      Complex total;
      for (std::size_t f = 0; f < kFrames; ++f) {
        float re = 0.0F, im = 0.0F;
        for (std::size_t i = f * kBins + edges[band]; i < f * kBins + edges[band + 1]; ++i) {
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

/// Two signals over all windows.
struct Pair {
  LineFit delay;                 // of the second against the first
  std::vector<Meeting> windows;  // none where they have nothing in common
};

class Comparison {
 public:
  Comparison(std::vector<Placed> signals, std::vector<double> windows, int threads,
             const std::atomic<bool>* stop)
      : signals_(std::move(signals)),
        windows_(std::move(windows)),
        threads_(threads),
        stop_(stop),
        pairs_(signals_.size() * (signals_.size() - 1) / 2) {}

  Result<void> run() {
    if (auto done = find_delays(); !done) return done;
    return find_depths();
  }

  std::size_t windows() const { return windows_.size(); }
  const Pair& pair(std::size_t a, std::size_t b) const {
    return pairs_[index(std::min(a, b), std::max(a, b))];
  }

  /// What `source` leaves unexplained of `target` in a window; nothing where the target is quiet.
  std::optional<double> depth_db(std::size_t target, std::size_t source, std::size_t w) const {
    const Pair& both = pair(target, source);
    if (both.windows.empty()) return power_[target][w] > 0.0 ? std::optional(0.0) : std::nullopt;
    const bool first = target < source;
    const Meeting& at = both.windows[w];
    const double power = first ? at.power_a : at.power_b;
    if (power <= kQuiet * loudest_[target]) return std::nullopt;
    return decibels((first ? at.rest_a : at.rest_b) / power);
  }
  bool is_deep(std::size_t target, std::size_t source, std::size_t w) const {
    const auto depth = depth_db(target, source, w);
    return depth && *depth <= kDeep_db;
  }
  bool is_shallow(std::size_t target, std::size_t source, std::size_t w) const {
    const auto depth = depth_db(target, source, w);
    return depth && *depth >= kShallow_db;
  }
  /// Of the windows in which the target is not quiet, how many the source explains.
  double deep_share(std::size_t target, std::size_t source) const {
    double loud = 0.0;
    double deep = 0.0;
    for (std::size_t w = 0; w < windows_.size(); ++w) {
      if (!depth_db(target, source, w)) continue;
      loud += 1.0;
      if (is_deep(target, source, w)) deep += 1.0;
    }
    return loud > 0.0 ? deep / loud : 0.0;
  }

  /// Level of `target` over `source`, and in how many windows it is the same.
  double gain_db(std::size_t target, std::size_t source) const {
    std::vector<double> gains = gains_db(target, source);
    return gains.empty() ? 0.0 : median(std::move(gains));
  }
  double steadiness(std::size_t target, std::size_t source) const {
    const std::vector<double> gains = gains_db(target, source);
    const double gain = gain_db(target, source);
    const auto same = std::count_if(gains.begin(), gains.end(), [&](double each) {
      return std::abs(each - gain) < kSameLevel_db;
    });
    return gains.empty() ? 0.0 : static_cast<double>(same) / static_cast<double>(gains.size());
  }
  bool inverted(std::size_t a, std::size_t b) const {
    double cross = 0.0;
    for (const Meeting& at : pair(a, b).windows) cross += at.cross;
    return cross < 0.0;
  }

  /// When the sound that `target` holds at mix second `mix_s` stands in the file of `source`, as
  /// the two signals' common delay says.
  double source_s(std::size_t target, std::size_t source, double mix_s) const {
    const double late_s = pair(target, source).delay.at(mix_s);
    return target < source ? signals_[source].at(mix_s) + late_s
                           : signals_[source].at(mix_s) - late_s;
  }
  double middle_s() const { return 0.5 * (windows_.front() + windows_.back()); }
  const Placed& placed(std::size_t signal) const { return signals_[signal]; }

  /// Per window, what sources that share the file times of `leader` leave of the target together;
  /// nothing where the target is quiet.
  Result<std::vector<std::optional<double>>> joint_depths_db(
      std::size_t target, std::size_t leader, const std::vector<std::size_t>& sources) const {
    std::vector<std::optional<double>> depths(windows_.size());
    std::vector<std::optional<Error>> errors(windows_.size());
    const double from_s = source_s(target, leader, middle_s() - 100.0);
    const double to_s = source_s(target, leader, middle_s() + 100.0);
    const double slope = 200.0 / (to_s - from_s);
    const Placed common{nullptr, middle_s() - 100.0 - slope * from_s, slope};
    parallel_for(static_cast<int>(windows_.size()), threads_, [&](int window) {
      const auto w = static_cast<std::size_t>(window);
      if (stopped() || power_[target][w] <= kQuiet * loudest_[target]) return;
      Analyser analyser;
      std::vector<Spectra> spectra(sources.size() + 1);
      for (std::size_t i = 0; i <= sources.size(); ++i) {
        Placed at = i == 0 ? signals_[target] : common;
        if (i > 0) at.signal = signals_[sources[i - 1]].signal;
        if (auto taken = analyser.take(at, windows_[w], 0.0, 0.0, spectra[i]); !taken) {
          errors[w] = taken.error();
          return;
        }
      }
      const Spectra first = std::move(spectra.front());
      spectra.erase(spectra.begin());
      depths[w] = decibels(unexplained_share(first, spectra));
    });
    if (auto done = outcome(errors); !done) return done.error();
    return depths;
  }

  /// The same of one source over all windows together.
  double depth_db(std::size_t target, std::size_t source) const {
    const bool first = target < source;
    double rest = 0.0;
    double power = 0.0;
    for (const Meeting& at : pair(target, source).windows) {
      rest += first ? at.rest_a : at.rest_b;
      power += first ? at.power_a : at.power_b;
    }
    return power > 0.0 ? decibels(rest / power) : 0.0;
  }

 private:
  std::vector<double> gains_db(std::size_t target, std::size_t source) const {
    std::vector<double> gains;
    for (std::size_t w = 0; w < pair(target, source).windows.size(); ++w) {
      const Meeting& at = pair(target, source).windows[w];
      if (!depth_db(target, source, w) || !depth_db(source, target, w)) continue;
      const double gain = decibels(at.power_a / std::max(at.power_b, 1e-30));
      gains.push_back(target < source ? gain : -gain);
    }
    return gains;
  }
  static std::size_t index(std::size_t a, std::size_t b) { return b * (b - 1) / 2 + a; }
  bool stopped() const { return stop_ != nullptr && stop_->load(); }
  Result<void> outcome(const std::vector<std::optional<Error>>& errors) const {
    for (const auto& error : errors)
      if (error) return *error;
    if (stopped()) return Error{ErrorKind::interrupted, {}, "interrupted", ""};
    return {};
  }

  Result<void> find_delays() {
    const std::size_t n = signals_.size();
    power_.assign(n, std::vector<double>(windows_.size(), 0.0));
    std::vector<std::vector<std::optional<Observation>>> seen(windows_.size());
    std::vector<std::optional<Error>> errors(windows_.size());
    parallel_for(static_cast<int>(windows_.size()), threads_, [&](int window) {
      const auto w = static_cast<std::size_t>(window);
      Analyser analyser;
      std::vector<Spectra> spectra(n);
      for (std::size_t i = 0; i < n; ++i) {
        if (stopped()) return;
        if (auto taken = analyser.take(signals_[i], windows_[w], 0.0, 0.0, spectra[i]); !taken) {
          errors[w] = taken.error();
          return;
        }
        power_[i][w] = meet(spectra[i], spectra[i]).power_a;
      }
      for (std::size_t b = 1; b < n; ++b)
        for (std::size_t a = 0; a < b; ++a)
          seen[w].push_back(analyser.delay(spectra[a], spectra[b], windows_[w] + 0.5 * kWindow_s));
    });
    if (auto done = outcome(errors); !done) return done;
    loudest_.clear();
    for (const auto& powers : power_)
      loudest_.push_back(*std::max_element(powers.begin(), powers.end()));
    for (std::size_t p = 0; p < pairs_.size(); ++p) {
      std::vector<Observation> observations;
      for (const auto& window : seen)
        if (window[p]) observations.push_back(*window[p]);
      if (observations.size() < kLeastTogether) continue;
      pairs_[p].delay = fit_line(observations, {.max_slope = 250e-6, .cluster_s = 0.3e-3});
    }
    return {};
  }

  Result<void> find_depths() {
    std::vector<std::optional<Error>> errors(pairs_.size());
    parallel_for(static_cast<int>(pairs_.size()), threads_, [&](int p) {
      const auto at = static_cast<std::size_t>(p);
      Pair& pair = pairs_[at];
      if (!pair.delay.found || pair.delay.used < static_cast<int>(kLeastTogether)) return;
      std::size_t b = 1;
      while (index(0, b + 1) <= at) ++b;
      const std::size_t a = at - index(0, b);
      Analyser analyser;
      Spectra first;
      Spectra second;
      std::vector<Meeting> meetings;
      for (const double from_s : windows_) {
        if (stopped()) return;
        auto taken = analyser.take(signals_[a], from_s, 0.0, 0.0, first);
        if (taken)
          taken = analyser.take(signals_[b], from_s, pair.delay.at(0.0), pair.delay.slope, second);
        if (!taken) {
          errors[at] = taken.error();
          return;
        }
        meetings.push_back(meet(first, second));
      }
      pair.windows = std::move(meetings);
    });
    return outcome(errors);
  }

  std::vector<Placed> signals_;
  std::vector<double> windows_;  // mix seconds at which they begin
  int threads_;
  const std::atomic<bool>* stop_;
  std::vector<Pair> pairs_;
  std::vector<std::vector<double>> power_;  // per signal and window
  std::vector<double> loudest_;
};

/// The verdicts, signal 0 of the comparison being the mix and track t signal t + 1.
class Judge {
 public:
  Judge(const Comparison& compared, std::vector<bool> known)
      : compared_(compared), known_(std::move(known)), verdicts_(known_.size()) {}

  Result<std::vector<CopyVerdict>> run() {
    for (std::size_t t = 0; t < verdicts_.size(); ++t)
      if (known_[t] && is_one_sound(kMix, signal(t)) && holds_more_than_one(t))
        set_copy(t, CopyKind::of_mix, kMix);
    for (std::size_t t = 0; t < verdicts_.size(); ++t)
      for (std::size_t j = 0; j < t && is_open(t); ++j)
        if (is_open(j) && is_one_sound(signal(j), signal(t))) {
          set_copy(t, CopyKind::of_track, signal(j));
          verdicts_[t].of = j;
        }
    if (auto done = find_own_mixes(); !done) return done.error();
    for (std::size_t t = 0; t < verdicts_.size(); ++t)
      for (std::size_t j = 0; j < verdicts_.size(); ++j)
        if (is_open(t) && known_[j] && j != t)
          verdicts_[t].depth_db =
              std::min(verdicts_[t].depth_db, compared_.depth_db(signal(t), signal(j)));
    return std::move(verdicts_);
  }

 private:
  static constexpr std::size_t kMix = 0;
  static std::size_t signal(std::size_t track) { return track + 1; }
  bool is_open(std::size_t track) const {
    return known_[track] && verdicts_[track].kind == CopyKind::none;
  }

  bool is_one_sound(std::size_t a, std::size_t b) const {
    return std::abs(clock_difference(a, b)) < kSameClock && compared_.depth_db(a, b) <= kCopy_db &&
           compared_.depth_db(b, a) <= kCopy_db && compared_.deep_share(a, b) >= kNearlyAll &&
           compared_.deep_share(b, a) >= kNearlyAll && compared_.steadiness(a, b) >= kNearlyAll;
  }

  /// How much faster the file of `b` runs than that of `a`.
  double clock_difference(std::size_t a, std::size_t b) const {
    const double step_s = 1000.0;
    const Placed& own = compared_.placed(a);
    return (compared_.source_s(a, b, step_s) - compared_.source_s(a, b, 0.0)) /
               (own.at(step_s) - own.at(0.0)) -
           1.0;
  }

  void set_copy(std::size_t track, CopyKind kind, std::size_t original) {
    CopyVerdict& verdict = verdicts_[track];
    const std::size_t own = signal(track);
    verdict.kind = kind;
    verdict.delay_s = compared_.source_s(original, own, 0.0) - compared_.placed(original).at(0.0);
    verdict.gain_db = compared_.gain_db(own, original);
    verdict.inverted = compared_.inverted(own, original);
    verdict.depth_db = compared_.depth_db(own, original);
  }

  /// Whether the track explains the mix where another track does and where that one does not.
  bool holds_more_than_one(std::size_t track) const {
    for (std::size_t j = 0; j < verdicts_.size(); ++j) {
      if (j == track || !known_[j]) continue;
      std::size_t with = 0;
      std::size_t without = 0;
      for (std::size_t w = 0; w < compared_.windows(); ++w) {
        if (!compared_.is_deep(kMix, signal(track), w)) continue;
        if (compared_.is_deep(kMix, signal(j), w)) ++with;
        if (compared_.is_shallow(kMix, signal(j), w)) ++without;
      }
      if (with >= kLeastWindows && without >= kLeastWindows) return true;
    }
    return false;
  }

  /// Tracks that may be parts of the track: those that do not explain all of it by themselves.
  std::vector<std::size_t> possible_parts(std::size_t track) const {
    std::vector<std::size_t> parts;
    for (std::size_t j = 0; j < verdicts_.size(); ++j)
      if (j != track && is_open(j) && compared_.deep_share(signal(track), signal(j)) < kMost)
        parts.push_back(j);
    return parts;
  }

  /// Of `parts`, those on the leader's clock; as signals.
  std::vector<std::size_t> on_clock_of(std::size_t leader,
                                       const std::vector<std::size_t>& parts) const {
    const Placed& first = compared_.placed(signal(leader));
    std::vector<std::size_t> group;
    for (const std::size_t j : parts)
      if (on_one_clock(compared_.placed(signal(j)), first)) group.push_back(signal(j));
    return group;
  }

  /// The part whose delay against the track most windows agree on.
  std::optional<std::size_t> leader_of(std::size_t track,
                                       const std::vector<std::size_t>& parts) const {
    std::optional<std::size_t> leader;
    const auto used = [&](std::size_t j) {
      return compared_.pair(signal(track), signal(j)).windows.empty()
                 ? 0
                 : compared_.pair(signal(track), signal(j)).delay.used;
    };
    for (const std::size_t j : parts)
      if (used(j) > (leader ? used(*leader) : 0)) leader = j;
    return leader;
  }

  /// Whether a part's sound may have come by wire: at the leader's delay where it shares its clock,
  /// and with nothing but a level between them where it does not.
  bool may_come_by_wire(std::size_t track, std::size_t leader, std::size_t part,
                        const std::vector<std::size_t>& group) const {
    const std::size_t own = signal(track);
    const std::size_t other = signal(part);
    if (compared_.pair(own, other).windows.empty()) return false;
    if (is_in(other, group)) {
      const double late_s = compared_.source_s(own, other, compared_.middle_s()) -
                            compared_.source_s(own, signal(leader), compared_.middle_s());
      return std::abs(late_s) < kSameDelay_s;
    }
    std::size_t deep = 0;
    for (std::size_t w = 0; w < compared_.windows(); ++w)
      if (compared_.is_deep(own, other, w)) ++deep;
    return deep >= kLeastWindows;
  }

  static bool is_in(std::size_t one, const std::vector<std::size_t>& many) {
    return std::find(many.begin(), many.end(), one) != many.end();
  }

  /// Whether other tracks together explain most of the track and no single one does.
  Result<bool> is_explained(std::size_t track) const {
    const std::vector<std::size_t> parts = possible_parts(track);
    const auto leader = leader_of(track, parts);
    if (!leader) return false;
    const std::vector<std::size_t> group = on_clock_of(*leader, parts);
    const auto by_wire = std::count_if(parts.begin(), parts.end(), [&](std::size_t j) {
      return may_come_by_wire(track, *leader, j, group);
    });
    if (by_wire < 2 && !is_one_sound(kMix, signal(track))) return false;
    const auto together = compared_.joint_depths_db(signal(track), signal(*leader), group);
    if (!together) return together.error();
    double loud = 0.0;
    double explained = 0.0;
    for (std::size_t w = 0; w < compared_.windows(); ++w) {
      if (!(*together)[w]) continue;
      loud += 1.0;
      const bool by_another_clock = std::any_of(parts.begin(), parts.end(), [&](std::size_t j) {
        return !is_in(signal(j), group) && compared_.is_deep(signal(track), signal(j), w);
      });
      if (*(*together)[w] <= kDeep_db || by_another_clock) explained += 1.0;
    }
    return explained > 0.0 && explained >= kMost * loud;
  }

  /// Beside a mix of all microphones each microphone is what the mix holds beyond the others, and
  /// so explained as well: the one that the session's mix explains best is the mix.
  Result<void> find_own_mixes() {
    while (true) {
      std::optional<std::size_t> best;
      for (std::size_t t = 0; t < verdicts_.size(); ++t) {
        if (!is_open(t)) continue;
        const auto explained = is_explained(t);
        if (!explained) return explained.error();
        if (*explained && (!best || likeness(t) > likeness(*best))) best = t;
      }
      if (!best) return {};
      if (is_one_sound(kMix, signal(*best)))
        set_copy(*best, CopyKind::of_mix, kMix);
      else
        verdicts_[*best].kind = CopyKind::own_mix;
    }
  }
  std::pair<double, double> likeness(std::size_t track) const {
    return {compared_.deep_share(signal(track), kMix), -compared_.depth_db(signal(track), kMix)};
  }

  const Comparison& compared_;
  std::vector<bool> known_;  // placed by their first maps
  std::vector<CopyVerdict> verdicts_;
};

/// Mix seconds at which windows begin: the liveliest place of each of so many parts.
std::vector<double> choose_windows(const OnsetFeatures& mix) {
  const auto frames = static_cast<std::int64_t>(kWindow_s * kFeatureRateHz);
  const std::int64_t last = mix.frames() - frames;
  std::vector<double> windows;
  if (last < 0) return windows;
  std::vector<double> sums{0.0};
  for (std::size_t i = 0; i < static_cast<std::size_t>(mix.frames()); ++i) {
    double sum = sums.back();
    for (const auto& band : mix.bands) sum += static_cast<double>(band[i]) * band[i];
    sums.push_back(sum);
  }
  const std::int64_t parts = std::clamp<std::int64_t>(mix.frames() / frames, 1, kMostWindows);
  for (std::int64_t part = 0; part < parts; ++part) {
    std::int64_t best = part * last / parts;
    const auto lively = [&](std::int64_t first) {
      return sums[static_cast<std::size_t>(first + frames)] - sums[static_cast<std::size_t>(first)];
    };
    for (std::int64_t first = best; first <= (part + 1) * last / parts; first += 25)
      if (lively(first) > lively(best)) best = first;
    windows.push_back(static_cast<double>(best) / kFeatureRateHz);
  }
  return windows;
}

/// Share of the windows in which signal 0 is the sum of the group, whose files lie as the leader's
/// does, or holds one of the parts by itself.
Result<double> summed_share(const Comparison& compared, std::size_t leader,
                            const std::vector<std::size_t>& group,
                            const std::vector<std::size_t>& parts) {
  const auto depths = compared.joint_depths_db(0, leader, group);
  if (!depths) return depths.error();
  double loud = 0.0;
  double explained = 0.0;
  for (std::size_t w = 0; w < depths->size(); ++w) {
    const auto& depth = (*depths)[w];
    if (!depth) continue;
    loud += 1.0;
    const auto is_part = [&](std::size_t t) { return compared.is_deep(0, t, w); };
    if (*depth <= kDeep_db || std::any_of(parts.begin(), parts.end(), is_part)) explained += 1.0;
  }
  return loud > 0.0 ? explained / loud : 0.0;
}

/// Whether signal 0 is the sum of one recorder's tracks, which hear each other so well that none of
/// them explains it alone, and of guests.
Result<bool> sum_of_one_recorder(const Comparison& compared, std::span<const Placed> signals) {
  std::vector<std::size_t> parts;
  for (std::size_t t = 1; t < signals.size(); ++t)  // what explains all of it is its copy
    if (!compared.pair(0, t).windows.empty() && compared.deep_share(0, t) < kMost)
      parts.push_back(t);
  // Each may lead: that of some is known by a neighbour's sound, later than by wire.
  for (const std::size_t leader : parts) {
    std::vector<std::size_t> group;
    for (const std::size_t t : parts)
      if (on_one_clock(signals[t], signals[leader])) group.push_back(t);
    if (group.size() < 2) continue;
    const auto share = summed_share(compared, leader, group, parts);
    if (!share) return share.error();
    if (*share >= kMost) return true;
  }
  return false;
}

using Depths = std::vector<std::optional<double>>;

/// Windows in which the one explains the signal and the other does not.
std::size_t windows_of_one(const Depths& one, const Depths& other) {
  std::size_t count = 0;
  for (std::size_t w = 0; w < one.size(); ++w)
    if (one[w] && *one[w] <= kDeep_db && (!other[w] || *other[w] >= *one[w] + kApart_db)) ++count;
  return count;
}

}  // namespace

Result<int> sources_by_wire(const AnalysisSignal& signal, const OnsetFeatures& features,
                            std::span<const CopyCandidate> tracks, int threads,
                            const std::atomic<bool>* stop) {
  const std::vector<double> windows = choose_windows(features);
  if (windows.size() < kLeastTogether) return 0;
  std::vector<Placed> signals{{&signal, 0.0, 1.0}};
  for (const CopyCandidate& track : tracks)
    if (track.map->found)
      signals.push_back({track.signal, track.map->lag_s, 1.0 - track.map->drift_ppm * 1e-6});
  if (signals.size() < 2) return 0;
  Comparison compared(signals, windows, threads, stop);
  if (auto done = compared.run(); !done) return done.error();
  std::vector<Depths> deep;  // of the tracks that explain it somewhere
  for (std::size_t t = 1; t < signals.size(); ++t) {
    Depths depths;
    for (std::size_t w = 0; w < windows.size(); ++w) depths.push_back(compared.depth_db(0, t, w));
    if (windows_of_one(depths, Depths(windows.size())) >= kLeastWindows)
      deep.push_back(std::move(depths));
  }
  for (std::size_t a = 0; a < deep.size(); ++a)
    for (std::size_t b = 0; b < a; ++b)
      if (windows_of_one(deep[a], deep[b]) >= kLeastWindows &&
          windows_of_one(deep[b], deep[a]) >= kLeastWindows)
        return 2;
  const auto together = sum_of_one_recorder(compared, signals);
  if (!together) return together.error();
  return *together ? 2 : deep.empty() ? 0 : 1;
}

Result<std::vector<CopyVerdict>> find_copies(const AnalysisSignal& mix,
                                             const OnsetFeatures& mix_features,
                                             std::span<const CopyCandidate> tracks, int threads,
                                             const std::atomic<bool>* stop) {
  std::vector<double> windows = choose_windows(mix_features);
  if (tracks.empty() || windows.size() < kLeastTogether)
    return std::vector<CopyVerdict>(tracks.size());
  std::vector<Placed> signals{{&mix, 0.0, 1.0}};
  std::vector<bool> known;
  for (const CopyCandidate& track : tracks) {
    const FirstMap& map = *track.map;
    known.push_back(map.found);
    signals.push_back({track.signal, map.lag_s, 1.0 - map.drift_ppm * 1e-6});
  }
  Comparison compared(std::move(signals), std::move(windows), threads, stop);
  if (auto done = compared.run(); !done) return done.error();
  return Judge(compared, std::move(known)).run();
}

}  // namespace kilter::sync
