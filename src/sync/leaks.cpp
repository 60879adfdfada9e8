#include "kilter/sync/leaks.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <optional>

#include "joint_frames.h"
#include "kilter/base/decibels.h"
#include "kilter/base/parallel.h"
#include "kilter/sync/talk_levels.h"

namespace kilter::sync {
namespace {

constexpr int kFrame = 32768;  // 2 s
constexpr double kBandFrom_hz = 150.0;
constexpr double kBandTo_hz = 4000.0;
constexpr double kReach_s = 0.7;
constexpr std::size_t kMostWindows = 40;
constexpr std::size_t kLeastWindows = 3;
constexpr double kAlone_db = 3.0;    // so far above the others, each against its own loud seconds
constexpr double kLeastSigma = 9.0;  // clean pairs: under 6
constexpr double kGuard_s = 5e-3;    // of a peak, against which chance is measured
constexpr double kBleed_s = 15e-3;
constexpr double kLeastLevel_db = -45.0;
constexpr double kOwnFrom_s = 80e-3;     // pitch repeats up to 70 ms
constexpr double kLeastOwnSigma = 30.0;  // clean voices: up to 24
constexpr double kLeastOwnLevel_db = -30.0;
constexpr double kSmooth_hz = 60.0;

// The level is measured on short frames inside the windows.
constexpr int kLevelFrame = 2048;
constexpr int kLevelHop = 1024;
constexpr int kLevelFrames = 24;

constexpr std::size_t kOwnWindows = 12;
constexpr double kOwnWindow_s = 6.0;
constexpr double kChanceShare = 0.05;  // summed over the windows

double band_power(const BandSpectrum& spectrum) {
  double sum = 0.0;
  for (std::size_t b = 0; b < spectrum.re.size(); ++b)
    sum += static_cast<double>(spectrum.re[b] * spectrum.re[b] + spectrum.im[b] * spectrum.im[b]);
  return sum;
}

/// A peak of a correlation over lags.
struct Peak {
  double lag_s{0.0};
  double height{0.0};  // 1: all of the phase agrees
  double sigma{0.0};   // over the RMS of the other lags
};

/// Top between the middle one of three values and its neighbours, in steps.
double parabolic(double left, double centre, double right) {
  const double curvature = left - 2.0 * centre + right;
  return curvature < 0.0 ? std::clamp(0.5 * (left - right) / curvature, -0.5, 0.5) : 0.0;
}

class LeakSearch {
 public:
  LeakSearch(const std::vector<LeakTrack>& tracks, const LeakOptions& options)
      : tracks_(tracks), options_(options) {}

  Result<std::vector<Leak>> run() {
    take_levels();
    const std::size_t n = tracks_.size();
    windows_.resize(n);
    std::vector<std::vector<Leak>> found(n);  // by source
    if (auto done = each_track([&](std::size_t from) -> Result<void> {
          windows_[from] = windows_of(from);
          auto leaks = listen(from);
          if (!leaks) return leaks.error();
          found[from] = *std::move(leaks);
          return {};
        });
        !done)
      return done.error();
    std::vector<std::vector<Leak>> held(n);  // by holder
    for (const auto& leaks : found)
      for (const Leak& leak : leaks) held[leak.holder].push_back(leak);
    if (auto done = each_track([&](std::size_t holder) { return measure(held[holder]); }); !done)
      return done.error();
    std::vector<Leak> all;
    for (const auto& leaks : held)
      for (const Leak& leak : leaks)
        if (leak.level_db >= kLeastLevel_db) all.push_back(leak);
    return all;
  }

 private:
  bool stopped() const { return options_.stop != nullptr && options_.stop->load(); }

  template <typename Work>
  Result<void> each_track(Work&& work) {
    std::vector<std::optional<Error>> errors(tracks_.size());
    parallel_for(static_cast<int>(tracks_.size()), options_.threads, [&](int i) {
      if (stopped()) return;
      const auto at = static_cast<std::size_t>(i);
      if (auto done = work(at); !done) errors[at] = done.error();
    });
    for (const auto& error : errors)
      if (error) return *error;
    if (stopped()) return Error{ErrorKind::interrupted, {}, "interrupted", ""};
    return {};
  }

  void take_levels() {
    std::vector<std::vector<double>> levels;
    for (const LeakTrack& track : tracks_) {
      levels.push_back(track.levels_db);
      maps_.push_back(track.place.map);
    }
    levels_ = TalkLevels(std::move(levels));
  }

  /// Middles of the stretches where `from` talks and nobody else does.
  std::vector<double> windows_of(std::size_t from) const {
    struct Window {
      double line_s{0.0};
      double alone_db{0.0};
    };
    std::vector<Window> windows;
    const auto spans = maps_[from]->spans();
    for (double at_s = std::ceil(spans.front().line_from_s) + 1.0;
         at_s + 1.0 < spans.back().line_to_s; at_s += 2.0) {
      const auto alone = levels_.alone_db(maps_, from, at_s);
      if (alone && *alone >= kAlone_db) windows.push_back({at_s, *alone});
    }
    std::stable_sort(windows.begin(), windows.end(),
                     [](const Window& a, const Window& b) { return a.alone_db > b.alone_db; });
    if (windows.size() > kMostWindows) windows.resize(kMostWindows);
    std::vector<double> middles;
    middles.reserve(windows.size());
    for (const Window& window : windows) middles.push_back(window.line_s);
    std::sort(middles.begin(), middles.end());
    return middles;
  }

  std::optional<double> level(std::size_t track, double line_s) const {
    const auto track_s = maps_[track]->to_track(line_s);
    return track_s ? levels_.at(track, *track_s) : std::nullopt;
  }

  /// Whom the voice of `from` reaches.
  Result<std::vector<Leak>> listen(std::size_t from) const {
    std::vector<Leak> leaks;
    if (windows_[from].size() < kLeastWindows) return leaks;
    FrameTaker taker(kFrame, kBandFrom_hz, kBandTo_hz);
    const RealFft fft(kFrame);
    std::vector<BandSpectrum> sums(tracks_.size());
    std::vector<std::size_t> counts(tracks_.size(), 0);
    for (BandSpectrum& sum : sums) {
      sum.resize(taker.bins());
      sum.clear();
    }
    BandSpectrum source;
    BandSpectrum heard;
    for (const double at_s : windows_[from]) {
      if (stopped()) return leaks;
      const auto talks = taker.take(tracks_[from].place, at_s, source);
      if (!talks) return talks.error();
      add_own(source, taker, sums[from]);
      for (std::size_t k = 0; k < tracks_.size(); ++k) {
        if (k == from) continue;
        const auto lies = taker.take(tracks_[k].place, at_s, heard);
        if (!lies) return lies.error();
        if (!*lies) continue;
        add_phase(source, heard, sums[k]);
        ++counts[k];
      }
    }
    counts[from] = windows_[from].size();
    for (std::size_t k = 0; k < tracks_.size(); ++k) {
      if (counts[k] < kLeastWindows) continue;
      const auto correlation = correlate(sums[k], taker, fft);
      const double least_s = k == from ? kOwnFrom_s : 0.0;
      Peak peak = highest(correlation, least_s);
      if (k == from) peak.lag_s = std::abs(peak.lag_s);  // the correlation is its own mirror
      if (peak.sigma < (k == from ? kLeastOwnSigma : kLeastSigma)) continue;
      const bool room = !tracks_[k].remote && !tracks_[from].remote;
      if (room && std::abs(peak.lag_s) <= kBleed_s) continue;
      Leak leak{k, from, peak.lag_s, 0.0, 0.0, peak.sigma};
      if (k == from) {
        leak.level_db = 20.0 * std::log10(peak.height / (std::abs(correlation[0]) + 1e-20));
        if (leak.level_db < kLeastOwnLevel_db) continue;
        leak.share = db_to_power(leak.level_db);
      }
      leaks.push_back(leak);
    }
    return leaks;
  }

  static void add_phase(const BandSpectrum& a, const BandSpectrum& b, BandSpectrum& sum) {
    for (std::size_t i = 0; i < sum.re.size(); ++i) {
      const float re = a.re[i] * b.re[i] + a.im[i] * b.im[i];
      const float im = a.re[i] * b.im[i] - a.im[i] * b.re[i];
      const float size = std::sqrt(re * re + im * im);
      if (size <= 0.0F) continue;
      sum.re[i] += re / size;
      sum.im[i] += im / size;
    }
  }

  /// Power against its own neighbourhood: the ripple that an echo makes.
  static void add_own(const BandSpectrum& a, const FrameTaker& taker, BandSpectrum& sum) {
    const std::size_t n = a.re.size();
    std::vector<double> before(n + 1, 0.0);
    for (std::size_t i = 0; i < n; ++i)
      before[i + 1] = before[i] + static_cast<double>(a.re[i] * a.re[i] + a.im[i] * a.im[i]);
    const auto reach = static_cast<std::size_t>(kSmooth_hz / (taker.bin_hz(1) - taker.bin_hz(0)));
    for (std::size_t i = 0; i < n; ++i) {
      const std::size_t from = i < reach ? 0 : i - reach;
      const std::size_t to = std::min(n, i + reach + 1);
      const double mean = (before[to] - before[from]) / static_cast<double>(to - from);
      if (mean > 0.0) sum.re[i] += static_cast<float>((before[i + 1] - before[i]) / mean);
    }
  }

  /// Over lags in frames; negative ones at the end.
  static FftVector<float> correlate(const BandSpectrum& sum, const FrameTaker& taker,
                                    const RealFft& fft) {
    FftVector<std::complex<float>> bins(static_cast<std::size_t>(fft.bins()));
    FftVector<float> lags(static_cast<std::size_t>(fft.size()));
    for (std::size_t b = 0; b < sum.re.size(); ++b)
      bins[taker.first_bin() + b] = {sum.re[b], sum.im[b]};
    fft.inverse(bins, lags);
    return lags;
  }

  /// The highest peak from `least_s` on, to both sides.
  static Peak highest(const FftVector<float>& lags, double least_s) {
    const auto at = [&](int lag) {
      return static_cast<double>(lags[static_cast<std::size_t>((lag + kFrame) % kFrame)]);
    };
    const int reach = static_cast<int>(kReach_s * kAnalysisRateHz);
    const int least = static_cast<int>(least_s * kAnalysisRateHz);
    std::optional<int> top;
    for (int lag = -reach; lag <= reach; ++lag)
      if (std::abs(lag) >= least && (!top || std::abs(at(lag)) > std::abs(at(*top)))) top = lag;
    const int guard = static_cast<int>(kGuard_s * kAnalysisRateHz);
    double square = 0.0;
    double count = 0.0;
    for (int lag = -reach; lag <= reach; ++lag) {
      if (std::abs(lag) < least || std::abs(lag - *top) <= guard || std::abs(lag + *top) <= guard)
        continue;  // an own voice's correlation is its own mirror
      square += at(lag) * at(lag);
      count += 1.0;
    }
    const double sign = at(*top) < 0.0 ? -1.0 : 1.0;
    const double shift = parabolic(sign * at(*top - 1), sign * at(*top), sign * at(*top + 1));
    const double rms = std::sqrt(square / std::max(count, 1.0)) + 1e-20;
    return {(*top + shift) / kAnalysisRateHz, std::abs(at(*top)), std::abs(at(*top)) / rms};
  }

  /// Level and share of each leak of one holder, with all its leaks explained together. The own
  /// voice that returns is measured already.
  Result<void> measure(std::vector<Leak>& leaks) const {
    std::vector<std::size_t> others;
    for (std::size_t i = 0; i < leaks.size(); ++i)
      if (leaks[i].from != leaks[i].holder) others.push_back(i);
    if (others.empty()) return {};
    FrameTaker taker(kLevelFrame, kBandFrom_hz, kBandTo_hz);
    JointFit fit(taker.bins());
    std::vector<BandSpectrum> sources(others.size());
    BandSpectrum held;
    for (std::size_t i = 0; i < others.size(); ++i) {
      Leak& leak = leaks[others[i]];
      fit.reset(others.size());
      double held_power = 0.0;
      int frames = 0;
      for (const double middle_s : quiet_windows(leak)) {
        for (int f = 0; f < kLevelFrames; ++f) {
          const double at_s =
              middle_s +
              static_cast<double>((2 * f - kLevelFrames + 1) * kLevelHop) * 0.5 / kAnalysisRateHz;
          const auto lies = taker.take(tracks_[leak.holder].place, at_s, held);
          if (!lies) return lies.error();
          if (!*lies) continue;
          for (std::size_t k = 0; k < others.size(); ++k) {
            const Leak& other = leaks[others[k]];
            const auto taken =
                taker.take(tracks_[other.from].place, at_s - other.delay_s, sources[k]);
            if (!taken) return taken.error();
          }
          fit.add(sources, held);
          held_power += band_power(held);
          ++frames;
        }
      }
      fit.solve();
      double source_power = 0.0;
      double leaked_power = 0.0;
      const BandSpectrum& h = fit.filter(i);
      const auto r = fit.power(i);
      for (std::size_t b = 0; b < taker.bins(); ++b) {
        source_power += static_cast<double>(r[b]);
        leaked_power += static_cast<double>((h.re[b] * h.re[b] + h.im[b] * h.im[b]) * r[b]);
      }
      // Even a stranger explains one part in as many as there are frames.
      const double chance = frames > 0 ? held_power / frames : 0.0;
      leaked_power = std::max(leaked_power - chance, 0.0);
      leak.level_db = power_to_db(leaked_power / (source_power + 1e-20));
      leak.share = std::min(1.0, leaked_power / (held_power + 1e-20));
    }
    return {};
  }

  /// The half of the source's windows in which the holder says least himself.
  std::vector<double> quiet_windows(const Leak& leak) const {
    std::vector<double> middles = windows_[leak.from];
    const auto own_db = [&](double at_s) {
      return level(leak.holder, at_s).value_or(-200.0) - level(leak.from, at_s).value_or(0.0);
    };
    std::stable_sort(middles.begin(), middles.end(),
                     [&](double a, double b) { return own_db(a) < own_db(b); });
    middles.resize(std::max(std::min(middles.size(), kLeastWindows), middles.size() / 2));
    return middles;
  }

  const std::vector<LeakTrack>& tracks_;
  const LeakOptions& options_;
  std::vector<const TimeMap*> maps_;
  TalkLevels levels_;
  std::vector<std::vector<double>> windows_;  // by source
};

/// Middles in track time of the windows that choose_own_line listens to: three quarters the
/// loudest, the rest spread evenly.
std::vector<double> own_windows_s(const std::vector<double>& levels) {
  const auto per_window = static_cast<std::size_t>(kOwnWindow_s);
  const std::size_t count = levels.size() / per_window;
  if (count == 0) return {0.5 * static_cast<double>(levels.size())};
  std::vector<double> loudness(count, 0.0);
  for (std::size_t w = 0; w < count; ++w)
    for (std::size_t s = 0; s < per_window; ++s)
      loudness[w] += db_to_power(levels[w * per_window + s]);
  std::vector<std::size_t> order(count);
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return loudness[a] > loudness[b]; });
  const std::size_t loudest = std::min(count, kOwnWindows * 3 / 4);
  std::vector<std::size_t> chosen(order.begin(),
                                  order.begin() + static_cast<std::ptrdiff_t>(loudest));
  for (std::size_t i = loudest; i < std::min(count, kOwnWindows); ++i)
    chosen.push_back(order[loudest + (i - loudest) * (count - loudest) / (kOwnWindows - loudest)]);
  std::vector<double> middles;
  middles.reserve(chosen.size());
  for (const std::size_t w : chosen)
    middles.push_back((static_cast<double>(w) + 0.5) * kOwnWindow_s);
  return middles;
}

double seconds(const AnalysisSignal& signal) {
  return std::max(1.0, static_cast<double>(signal.frames())) / kAnalysisRateHz;
}

/// How much of the mix a track explains beyond the others. The share, not how surely it does so:
/// where the others explain the mix down to -40 dB, a leak surely explains some of the rest.
class ShareMeter {
 public:
  ShareMeter(const MappedTrack& mix, const std::vector<MappedTrack>& others)
      : mix_(mix), tracks_(others) {
    tracks_.push_back({});
  }

  /// 0..1 of the mix's power in the window round `line_s`; 0 where the mix does not lie there.
  Result<double> added_share(const MappedTrack& track, double line_s) {
    tracks_.back() = track;
    const std::size_t n = tracks_.size();
    std::vector<BandSpectrum> mix;
    std::vector<BandSpectrum> sounds;  // by frame, then track
    constexpr int kFrames = static_cast<int>(kOwnWindow_s * kAnalysisRateHz) / kLevelHop;
    for (int f = 0; f < kFrames; ++f) {
      const double at_s =
          line_s + (static_cast<double>(f) - 0.5 * (kFrames - 1)) * kLevelHop / kAnalysisRateHz;
      mix.emplace_back();
      const auto lies = taker_.take(mix_, at_s, mix.back());
      if (!lies) return lies.error();
      if (!*lies) return 0.0;
      for (const MappedTrack& each : tracks_) {
        sounds.emplace_back();
        if (auto taken = taker_.take(each, at_s, sounds.back()); !taken) return taken.error();
      }
    }
    const double without = rest(mix, sounds, n, n - 1);
    const double with = rest(mix, sounds, n, n);
    double power = 1e-20;
    for (const BandSpectrum& spectrum : mix) power += band_power(spectrum);
    const double by_chance = with * kOverlap / kFrames;
    return std::max(0.0, without - with - by_chance) / power;
  }

 private:
  static constexpr double kOverlap = 1.5;  // half-overlapped frames share some of their noise

  /// What the first `used` of `n` tracks leave.
  double rest(const std::vector<BandSpectrum>& mix, const std::vector<BandSpectrum>& sounds,
              std::size_t n, std::size_t used) {
    fit_.reset(used);
    for (std::size_t f = 0; f < mix.size(); ++f) fit_.add({&sounds[f * n], used}, mix[f]);
    fit_.solve();
    double sum = 0.0;
    BandSpectrum left;
    for (std::size_t f = 0; f < mix.size(); ++f) {
      fit_.residual({&sounds[f * n], used}, mix[f], left);
      sum += band_power(left);
    }
    return sum;
  }

  MappedTrack mix_;
  std::vector<MappedTrack> tracks_;
  FrameTaker taker_{kLevelFrame, kBandFrom_hz, kBandTo_hz};
  JointFit fit_{taker_.bins()};
};

}  // namespace

Result<std::vector<Leak>> find_leaks(const std::vector<LeakTrack>& tracks,
                                     const LeakOptions& options) {
  return LeakSearch(tracks, options).run();
}

Result<OwnLine> choose_own_line(const AnalysisSignal& mix, const std::vector<MappedTrack>& others,
                                const AnalysisSignal& track, const std::vector<TimeMap>& maps) {
  const auto levels = levels_db(track, nullptr);
  if (!levels) return levels.error();
  const TimeMap mix_map = *TimeMap::line(0.0, 0.0, seconds(mix), 0.0);
  ShareMeter meter({&mix, &mix_map}, others);
  OwnLine chosen;
  std::vector<std::vector<double>> by_window(maps.size());
  for (const double track_s : own_windows_s(*levels))
    for (std::size_t m = 0; m < maps.size(); ++m) {
      by_window[m].push_back(0.0);
      const auto line_s = maps[m].to_line(track_s);
      if (!line_s) continue;
      const auto share = meter.added_share({&track, &maps[m]}, *line_s);
      if (!share) return share.error();
      by_window[m].back() = *share;
    }
  for (const auto& shares : by_window)
    chosen.shares.push_back(std::accumulate(shares.begin(), shares.end(), 0.0));
  for (std::size_t m = 1; m < maps.size(); ++m)
    if (chosen.shares[m] > chosen.shares[chosen.index]) chosen.index = m;
  double next = 0.0;
  for (std::size_t m = 0; m < maps.size(); ++m)
    if (m != chosen.index) next = std::max(next, chosen.shares[m]);
  chosen.evidence = chosen.shares[chosen.index];
  chosen.margin = (chosen.evidence + kChanceShare) / (next + kChanceShare);
  for (const auto& shares : by_window) {
    double more = 0.0;
    for (std::size_t w = 0; w < shares.size(); ++w)
      more += std::max(0.0, shares[w] - by_window[chosen.index][w]);
    chosen.margins.push_back((chosen.evidence + kChanceShare) / (more + kChanceShare));
  }
  return chosen;
}

}  // namespace kilter::sync
