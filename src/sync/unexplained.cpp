#include "kilter/sync/unexplained.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <optional>

#include "joint_frames.h"
#include "kilter/base/decibels.h"
#include "kilter/base/parallel.h"

namespace kilter::sync {
namespace {

constexpr double kHalf_s = Unexplained::kHalf_s;
constexpr int kFrame = 2048;
constexpr int kFramesPerHalf = 4;  // they touch
constexpr int kHalvesPerWindow = 16;
constexpr double kBandFrom_hz = 150.0;
constexpr double kBandTo_hz = 4000.0;
constexpr double kEvenFrom_hz = 1000.0;   // power counts evenly from here up, less below
constexpr double kSuspect_db = -6.0;      // worth a second look, at all of its frames
constexpr double kUnexplained_db = -5.0;  // counts
constexpr double kLoudQuantile = 0.95;
constexpr double kSpeechBelowLoud_db = 18.0;
constexpr double kFloorQuantile = 0.02;
constexpr double kAboveFloor_db = 6.0;
constexpr float kSilence_db = -120.0F;

// The second look at a half second.
constexpr int kLookHop = 500;
constexpr int kLookFrames = 20;         // 0.72 s round the middle of the half second
constexpr std::size_t kLookApart = 4;   // frames of the look that hardly overlap
constexpr std::size_t kFineReach = 10;  // bins: 80 Hz
constexpr double kStanding = 0.38;      // voices 0.04 to 0.39, in the mean 0.2; music 0.32 to 0.67
constexpr std::size_t kNear = 3;        // half seconds to both sides that are judged together
constexpr int kLagFrame = 16384;        // about a second
constexpr double kLagReach_s = 0.1;
constexpr double kLeastLagSigma = 7.0;
constexpr double kLagsApart_s = 3e-3;
constexpr std::size_t kMostLags = 4;
constexpr std::size_t kLookPool =
    2;  // bins to both sides: there are few frames to tell filters from

constexpr double kGap_s = 1.0;  // between half seconds of one stretch
constexpr double kLeast_s = 2.0;

float to_db(double power) { return static_cast<float>(power_to_db(power)); }

double quantile(std::vector<float> values, double share) {
  if (values.empty()) return 0.0;
  const auto at = values.begin() +
                  static_cast<std::ptrdiff_t>(share * static_cast<double>(std::ssize(values) - 1));
  std::nth_element(values.begin(), at, values.end());
  return static_cast<double>(*at);
}

/// One worker: its buffers, and the tracks' frames of the window it looks at.
class Worker {
 public:
  Worker(const MappedTrack& mix, const std::vector<MappedTrack>& tracks)
      : mix_(mix), tracks_(tracks), lag_fft_(kLagFrame) {
    for (std::size_t b = 0; b < taker_.bins(); ++b) {
      const double even = std::min(1.0, taker_.bin_hz(b) / kEvenFrom_hz);
      weight_.push_back(static_cast<float>(even * even));
    }
  }

  /// Explains the half seconds from `from_s` on, at most as many as `halves` has.
  Result<void> explain(double from_s, std::span<HalfSecond> halves) {
    const std::size_t frames = halves.size() * kFramesPerHalf;
    const std::size_t n = tracks_.size();
    mix_frames_.resize(std::max(mix_frames_.size(), frames));
    frames_.resize(std::max(frames_.size(), frames * n));
    fit_.reset(n);
    covered_.assign(frames, false);
    for (std::size_t f = 0; f < frames; ++f) {
      const double at_s = frame_middle_s(from_s, f);
      const auto there = taker_.take(mix_, at_s, mix_frames_[f]);
      if (!there) return there.error();
      bool any = false;
      for (std::size_t i = 0; i < n; ++i) {
        const auto lies = taker_.take(tracks_[i], at_s, frames_[f * n + i]);
        if (!lies) return lies.error();
        any = any || *lies;
      }
      covered_[f] = any && *there;
    }
    for (std::size_t f = 0; f < frames; ++f) {  // runs of covered frames
      const std::size_t first = f;
      while (f < frames && covered_[f]) ++f;
      if (f > first)
        fit_.add_all({&frames_[first * n], (f - first) * n}, {&mix_frames_[first], f - first});
    }
    fit_.solve();
    for (std::size_t h = 0; h < halves.size(); ++h) judge(h, halves[h]);
    return {};
  }

  /// The depth, as a power ratio, once tracks may be heard beside their maps. The window must have
  /// been explained.
  Result<double> look_again(double half_from_s) {
    const double middle_s = half_from_s + 0.5 * kHalf_s;
    if (auto found = find_lags(middle_s); !found) return found.error();
    if (auto made = take_residuals(middle_s); !made) return made.error();
    if (!lags_.empty()) {
      if (auto fitted = explain_by_lags(middle_s); !fitted) return fitted.error();
    }
    return sum_power(residuals_) / sum_power(look_mix_);
  }

  /// How far the fine structure of the last look's rest stands still, 0..1: notes that are held
  /// keep their lines from one frame to the next, a voice's harmonics have moved on by then.
  double standing() {
    fine_.resize(residuals_.size());
    for (std::size_t f = 0; f < residuals_.size(); ++f)
      take_fine_structure(residuals_[f], fine_[f]);
    double sum = 0.0;
    for (std::size_t f = 0; f + kLookApart < fine_.size(); ++f)
      sum += likeness(fine_[f], fine_[f + kLookApart]);
    return sum / static_cast<double>(fine_.size() - kLookApart);
  }

 private:
  struct Lag {
    std::size_t track{0};
    double late_s{0.0};
    double sigma{0.0};
  };

  static double frame_middle_s(double from_s, std::size_t f) {
    return from_s + (static_cast<double>(f) + 0.5) * kHalf_s / kFramesPerHalf;
  }
  static double look_middle_s(double middle_s, std::size_t f) {
    return middle_s +
           (static_cast<double>(f) - 0.5 * (kLookFrames - 1)) * kLookHop / kAnalysisRateHz;
  }
  std::span<const BandSpectrum> of_frame(std::size_t f) const {
    return {&frames_[f * tracks_.size()], tracks_.size()};
  }

  double power(const BandSpectrum& spectrum) const {
    double sum = 0.0;
    for (std::size_t b = 0; b < weight_.size(); ++b)
      sum += static_cast<double>(
          weight_[b] * (spectrum.re[b] * spectrum.re[b] + spectrum.im[b] * spectrum.im[b]));
    return sum;
  }
  double sum_power(const std::vector<BandSpectrum>& spectra) const {
    double sum = 1e-20;
    for (const BandSpectrum& spectrum : spectra) sum += power(spectrum);
    return sum;
  }

  void judge(std::size_t h, HalfSecond& half) {
    half.kind = HalfKind::explained;
    double mix_power = 0.0;
    double rest = 0.0;
    for (std::size_t f = h * kFramesPerHalf; f < (h + 1) * kFramesPerHalf; ++f) {
      mix_power += power(mix_frames_[f]);
      if (!covered_[f]) {
        half.kind = HalfKind::uncovered;
        continue;
      }
      fit_.residual(of_frame(f), mix_frames_[f], rest_);
      rest += power(rest_);
    }
    half.mix_db = to_db(mix_power / kFramesPerHalf);
    if (half.kind == HalfKind::uncovered) return;
    half.depth_db = static_cast<float>(
        10.0 * std::log10(std::max(rest, 1e-12 * mix_power + 1e-20) / (mix_power + 1e-20)));
  }

  /// What the window's filters leave of frames close together. Tracks that are heard beside their
  /// maps are left out: the window's filter for them is a compromise.
  Result<void> take_residuals(double middle_s) {
    residuals_.resize(kLookFrames);
    look_mix_.resize(kLookFrames);
    look_tracks_.resize(tracks_.size());
    for (std::size_t f = 0; f < kLookFrames; ++f) {
      const double at_s = look_middle_s(middle_s, f);
      if (const auto taken = taker_.take(mix_, at_s, look_mix_[f]); !taken) return taken.error();
      for (std::size_t i = 0; i < tracks_.size(); ++i)
        if (const auto taken = taker_.take(tracks_[i], at_s, look_tracks_[i]); !taken)
          return taken.error();
      fit_.residual(look_tracks_, look_mix_[f], residuals_[f]);
      for (std::size_t i = 0; i < tracks_.size(); ++i)
        if (has_lag(i)) fit_.put_back(i, look_tracks_[i], residuals_[f]);
    }
    return {};
  }

  bool has_lag(std::size_t track) const {
    return std::any_of(lags_.begin(), lags_.end(),
                       [&](const Lag& lag) { return lag.track == track; });
  }

  /// Takes from the residuals what the tracks of lags_ explain there.
  Result<void> explain_by_lags(double middle_s) {
    const std::size_t n = lags_.size();
    late_.resize(std::max(late_.size(), n * kLookFrames));
    look_fit_.reset(n);
    for (std::size_t f = 0; f < kLookFrames; ++f) {
      for (std::size_t l = 0; l < n; ++l) {
        const double at_s = look_middle_s(middle_s, f) - lags_[l].late_s;
        const auto taken = taker_.take(tracks_[lags_[l].track], at_s, late_[f * n + l]);
        if (!taken) return taken.error();
      }
      look_fit_.add({&late_[f * n], n}, residuals_[f]);
    }
    look_fit_.solve(kLookPool);
    for (std::size_t f = 0; f < kLookFrames; ++f)
      look_fit_.residual({&late_[f * n], n}, residuals_[f], residuals_[f]);
    return {};
  }

  /// Logarithm of the power, less its mean over the neighbouring bins.
  void take_fine_structure(const BandSpectrum& spectrum, std::vector<float>& fine) const {
    const std::size_t bins = spectrum.re.size();
    std::vector<double> sums{0.0};
    fine.resize(bins);
    for (std::size_t b = 0; b < bins; ++b) {
      fine[b] =
          std::log(spectrum.re[b] * spectrum.re[b] + spectrum.im[b] * spectrum.im[b] + 1e-20F);
      sums.push_back(sums.back() + static_cast<double>(fine[b]));
    }
    for (std::size_t b = 0; b < bins; ++b) {
      const std::size_t from = b < kFineReach ? 0 : b - kFineReach;
      const std::size_t to = std::min(bins, b + kFineReach + 1);
      fine[b] -= static_cast<float>((sums[to] - sums[from]) / static_cast<double>(to - from));
    }
  }

  static double likeness(const std::vector<float>& a, const std::vector<float>& b) {
    double ab = 0.0, aa = 1e-20, bb = 1e-20;
    for (std::size_t i = 0; i < a.size(); ++i) {
      ab += static_cast<double>(a[i] * b[i]);
      aa += static_cast<double>(a[i] * a[i]);
      bb += static_cast<double>(b[i] * b[i]);
    }
    return ab / std::sqrt(aa * bb);
  }

  /// Where a second of the mix holds tracks beside their maps: peaks of the phase transform.
  Result<void> find_lags(double middle_s) {
    lags_.clear();
    BandSpectrum mix;
    BandSpectrum track;
    if (const auto taken = lag_taker_.take(mix_, middle_s, mix); !taken) return taken.error();
    for (std::size_t i = 0; i < tracks_.size(); ++i) {
      const auto lies = lag_taker_.take(tracks_[i], middle_s, track);
      if (!lies) return lies.error();
      if (*lies) add_peak(i, mix, track);
    }
    std::stable_sort(lags_.begin(), lags_.end(),
                     [](const Lag& a, const Lag& b) { return a.sigma > b.sigma; });
    if (lags_.size() > kMostLags) lags_.resize(kMostLags);
    return {};
  }

  void add_peak(std::size_t i, const BandSpectrum& mix, const BandSpectrum& track) {
    const std::size_t first = lag_taker_.first_bin();
    std::fill(lag_bins_.begin(), lag_bins_.end(), std::complex<float>{});
    for (std::size_t b = 0; b < mix.re.size(); ++b) {
      const float re = track.re[b] * mix.re[b] + track.im[b] * mix.im[b];
      const float im = track.re[b] * mix.im[b] - track.im[b] * mix.re[b];
      const float size = std::sqrt(re * re + im * im);
      if (size > 0.0F) lag_bins_[first + b] = {re / size, im / size};
    }
    lag_fft_.inverse(lag_bins_, correlation_);
    const int reach = static_cast<int>(kLagReach_s * kAnalysisRateHz);
    const auto height = [&](int lag) {
      return std::abs(correlation_[static_cast<std::size_t>((lag + kLagFrame) % kLagFrame)]);
    };
    // A stream on the move is heard at two places within the second.
    const int guard = static_cast<int>(kLagsApart_s * kAnalysisRateHz);
    int first_lag = reach + 2 * guard;
    for (int peak = 0; peak < 2; ++peak) {
      int top = first_lag;
      double square = 0.0;
      double count = 0.0;
      for (int lag = -reach; lag <= reach; ++lag) {
        if (std::abs(lag - first_lag) <= guard) continue;
        if (top == first_lag || height(lag) > height(top)) top = lag;
        square += static_cast<double>(height(lag) * height(lag));
        count += 1.0;
      }
      const double sigma = static_cast<double>(height(top)) / (std::sqrt(square / count) + 1e-20);
      if (sigma < kLeastLagSigma) return;
      lags_.push_back({i, static_cast<double>(top) / kAnalysisRateHz, sigma});
      first_lag = top;
    }
  }

  const MappedTrack& mix_;
  const std::vector<MappedTrack>& tracks_;
  FrameTaker taker_{kFrame, kBandFrom_hz, kBandTo_hz};
  JointFit fit_{taker_.bins()};
  std::vector<float> weight_;
  std::vector<BandSpectrum> mix_frames_;
  std::vector<BandSpectrum> frames_;  // by frame, then track
  std::vector<bool> covered_;
  BandSpectrum rest_;

  JointFit look_fit_{taker_.bins()};
  std::vector<BandSpectrum> residuals_;
  std::vector<std::vector<float>> fine_;
  std::vector<BandSpectrum> look_mix_;
  std::vector<BandSpectrum> look_tracks_;
  std::vector<BandSpectrum> late_;  // by frame, then lag
  std::vector<Lag> lags_;
  FrameTaker lag_taker_{kLagFrame, kBandFrom_hz, kBandTo_hz};
  RealFft lag_fft_;
  FftVector<std::complex<float>> lag_bins_ = FftVector<std::complex<float>>(kLagFrame / 2 + 1);
  FftVector<float> correlation_ = FftVector<float>(kLagFrame);
};

/// Half seconds of one kind, joined into stretches.
template <typename Counts>
std::vector<Stretch> join(const Unexplained& found, Counts&& counts) {
  std::vector<Stretch> stretches;
  double counted_s = 0.0;
  const auto drop_short = [&] {
    if (!stretches.empty() && counted_s < kLeast_s - 1e-6) stretches.pop_back();
    counted_s = 0.0;
  };
  for (std::size_t h = 0; h < found.halves.size(); ++h) {
    if (!counts(h)) continue;
    const double from_s = found.from_s + static_cast<double>(h) * kHalf_s;
    if (counted_s <= 0.0 || from_s > stretches.back().line_to_s + kGap_s + 1e-6) {
      drop_short();
      stretches.push_back({from_s, from_s});
    }
    stretches.back().line_to_s = from_s + kHalf_s;
    counted_s += kHalf_s;
  }
  drop_short();
  return stretches;
}

class Search {
 public:
  Search(const MappedTrack& mix, const std::vector<MappedTrack>& tracks,
         const UnexplainedOptions& options)
      : mix_(mix), tracks_(tracks), options_(options) {
    // More tracks need more frames to tell them apart by.
    per_window_ = std::max<std::size_t>(kHalvesPerWindow, 2 * tracks.size());
  }

  Result<Unexplained> run() {
    const auto spans = mix_.map->spans();
    found_.from_s = spans.front().line_from_s;
    const double length_s = spans.back().line_to_s - found_.from_s;
    found_.halves.resize(static_cast<std::size_t>(std::max(0.0, length_s / kHalf_s)));
    if (found_.halves.empty() || tracks_.empty()) return found_;
    windows_ = (found_.halves.size() + per_window_ - 1) / per_window_;
    if (auto done = each_window(
            [this](Worker& worker, std::size_t w) { return worker.explain(from_s(w), halves(w)); });
        !done)
      return done.error();
    find_quiet();
    standing_.assign(found_.halves.size(), 0.0);
    if (auto done =
            each_window([this](Worker& worker, std::size_t w) { return look_again(worker, w); });
        !done)
      return done.error();
    tell_music();
    found_.voice = join_kind(HalfKind::voice);
    found_.music = join_kind(HalfKind::music);
    found_.unrecorded = join_unrecorded();
    found_.voice_s = total_s(found_.voice);
    found_.music_s = total_s(found_.music);
    std::vector<float> depths;
    for (const HalfSecond& half : found_.halves)
      if (half.kind == HalfKind::explained) depths.push_back(half.depth_db);
    found_.typical_depth_db = quantile(depths, 0.5);
    return std::move(found_);
  }

 private:
  double from_s(std::size_t window) const {
    return found_.from_s + static_cast<double>(window * per_window_) * kHalf_s;
  }
  std::span<HalfSecond> halves(std::size_t window) {
    const std::size_t first = window * per_window_;
    return {&found_.halves[first], std::min(per_window_, found_.halves.size() - first)};
  }

  template <typename Work>
  Result<void> each_window(Work&& work) {
    std::vector<std::optional<Error>> errors(windows_);
    const auto count = static_cast<int>(windows_);
    const auto make_worker = [&] { return Worker(mix_, tracks_); };
    parallel_with(count, options_.threads, make_worker, [&](int i, Worker& worker) {
      if (stopped()) return;
      const auto w = static_cast<std::size_t>(i);
      if (auto done = work(worker, w); !done) errors[w] = done.error();
    });
    for (const auto& error : errors)
      if (error) return *error;
    if (stopped()) return Error{ErrorKind::interrupted, {}, "interrupted", ""};
    return {};
  }
  bool stopped() const { return options_.stop != nullptr && options_.stop->load(); }

  /// What is far below loud speech, or hardly above what the mix never goes below, is no speech.
  void find_quiet() {
    std::vector<float> levels;
    for (const HalfSecond& half : found_.halves)
      if (half.kind != HalfKind::uncovered && half.mix_db > kSilence_db)
        levels.push_back(half.mix_db);
    const double loud_db = quantile(levels, kLoudQuantile);
    const double floor_db = quantile(levels, kFloorQuantile);
    speech_db_ = std::max(loud_db - kSpeechBelowLoud_db,
                          std::min(floor_db + kAboveFloor_db, loud_db - kAboveFloor_db));
    for (HalfSecond& half : found_.halves)
      if (half.kind != HalfKind::uncovered &&
          static_cast<double>(half.mix_db) < std::max<double>(speech_db_, kSilence_db))
        half.kind = HalfKind::quiet;
  }

  /// Whether what is left is more than `least_db` of the half second, and loud enough for speech.
  bool stands_out(const HalfSecond& half, double least_db) const {
    return half.kind == HalfKind::explained && static_cast<double>(half.depth_db) > least_db &&
           static_cast<double>(half.mix_db + half.depth_db) > speech_db_;
  }
  bool is_unrecorded(const HalfSecond& half) const {
    return half.kind == HalfKind::uncovered && static_cast<double>(half.mix_db) > speech_db_ &&
           half.mix_db > kSilence_db;
  }
  bool is_suspect(const HalfSecond& half) const { return stands_out(half, kSuspect_db); }

  Result<void> look_again(Worker& worker, std::size_t w) {
    const auto mine = halves(w);
    if (std::none_of(mine.begin(), mine.end(),
                     [&](auto& half) { return is_suspect(half) || is_unrecorded(half); }))
      return {};
    std::vector<HalfSecond> again(mine.size());
    if (auto done = worker.explain(from_s(w), again); !done) return done.error();
    for (std::size_t h = 0; h < mine.size(); ++h) {
      const bool unrecorded = is_unrecorded(mine[h]);
      if (!is_suspect(mine[h]) && !unrecorded) continue;
      const auto depth = worker.look_again(from_s(w) + static_cast<double>(h) * kHalf_s);
      if (!depth) return depth.error();
      if (unrecorded) {
        standing_[w * per_window_ + h] = worker.standing();
        continue;
      }
      mine[h].depth_db = to_db(*depth);
      if (!stands_out(mine[h], kUnexplained_db)) continue;
      mine[h].kind = HalfKind::voice;
      standing_[w * per_window_ + h] = worker.standing();
    }
    return {};
  }

  std::vector<Stretch> join_kind(HalfKind kind) const {
    return join(found_, [&](std::size_t h) { return found_.halves[h].kind == kind; });
  }
  std::vector<Stretch> join_unrecorded() const {
    const auto counts = [&](std::size_t h) { return is_unrecorded(found_.halves[h]); };
    return join(found_, [&](std::size_t h) { return counts(h) && !stands_still(h, counts); });
  }

  /// Of the half seconds near one that count, whether their rest stands still as music does.
  template <typename Counts>
  bool stands_still(std::size_t h, Counts&& counts) const {
    double sum = 0.0;
    double count = 0.0;
    const std::size_t to = std::min(found_.halves.size(), h + kNear + 1);
    for (std::size_t i = h < kNear ? 0 : h - kNear; i < to; ++i) {
      if (!counts(i)) continue;
      sum += standing_[i];
      count += 1.0;
    }
    return sum > kStanding * count;
  }

  /// Half seconds are too short to tell; those near each other are judged together.
  void tell_music() {
    const std::vector<HalfSecond> before = found_.halves;
    const auto counts = [&](std::size_t h) { return before[h].kind == HalfKind::voice; };
    for (std::size_t h = 0; h < before.size(); ++h)
      if (counts(h) && stands_still(h, counts)) found_.halves[h].kind = HalfKind::music;
  }

  const MappedTrack& mix_;
  const std::vector<MappedTrack>& tracks_;
  const UnexplainedOptions& options_;
  std::size_t per_window_;
  std::size_t windows_{0};
  double speech_db_{0.0};
  std::vector<double> standing_;  // by half second, where it is unexplained
  Unexplained found_;
};

}  // namespace

double total_s(const std::vector<Stretch>& stretches) {
  return std::accumulate(stretches.begin(), stretches.end(), 0.0,
                         [](double sum, const Stretch& stretch) {
                           return sum + stretch.line_to_s - stretch.line_from_s;
                         });
}

Result<Unexplained> find_unexplained(const MappedTrack& mix, const std::vector<MappedTrack>& tracks,
                                     const UnexplainedOptions& options) {
  return Search(mix, tracks, options).run();
}

}  // namespace kilter::sync
