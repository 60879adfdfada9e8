#include "wire_comparison.h"

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "kilter/base/decibels.h"
#include "kilter/base/median.h"
#include "kilter/base/parallel.h"

namespace kilter::sync {
namespace {

constexpr int kMostWindows = 40;
constexpr double kQuiet = 1e-2;  // of the signal's loudest window
constexpr LineFitOptions kWireLine{.max_slope = 250e-6, .cluster_s = 0.3e-3};
constexpr double kShallow_db = -4.0;
// Words a little below what leaks. Coders and lost packets leave as much; who asks tells them
// apart.
constexpr double kUnexplained_db = -7.0;
constexpr double kNotQuiet = 0.03;  // of the tenth of the frames that are loudest
constexpr double kPause_s = 0.2;    // which parts no words
constexpr double kSameLevel_db = 2.0;

double share_db(double ratio) { return power_to_db(ratio, 1e-12); }

}  // namespace

std::vector<double> choose_windows(const OnsetFeatures& mix) {
  const auto frames = static_cast<std::int64_t>(kSpectrumWindow_s * kFeatureRateHz);
  const std::int64_t last = mix.frames() - frames;
  std::vector<double> windows;
  if (last < 0) return windows;
  const auto energy = [&](std::int64_t from, std::int64_t to) {
    double sum = 0.0;
    for (auto i = static_cast<std::size_t>(from); i < static_cast<std::size_t>(to); ++i)
      for (const auto& band : mix.bands) sum += static_cast<double>(band[i]) * band[i];
    return sum;
  };
  constexpr std::int64_t kStep = 25;  // frames
  const std::int64_t parts = std::clamp<std::int64_t>(mix.frames() / frames, 1, kMostWindows);
  for (std::int64_t part = 0; part < parts; ++part) {
    std::int64_t best = part * last / parts;
    double lively = energy(best, best + frames);
    double liveliest = lively;
    for (std::int64_t first = best + kStep; first <= (part + 1) * last / parts; first += kStep) {
      lively += energy(first + frames - kStep, first + frames) - energy(first - kStep, first);
      if (lively <= liveliest) continue;
      liveliest = lively;
      best = first;
    }
    windows.push_back(static_cast<double>(best) / kFeatureRateHz);
  }
  return windows;
}

Result<void> WireComparison::run() {
  if (auto done = find_delays(); !done) return done;
  return find_depths();
}

bool WireComparison::is_loud(std::size_t signal, std::size_t w) const {
  return power_[signal][w] > kQuiet * loudest_[signal];
}

std::optional<double> WireComparison::depth_db(std::size_t target, std::size_t source,
                                               std::size_t w) const {
  const SignalPair& both = pair(target, source);
  if (both.windows.empty()) return power_[target][w] > 0.0 ? std::optional(0.0) : std::nullopt;
  const bool first = target < source;
  const Meeting& at = both.windows[w];
  const double power = first ? at.power_a : at.power_b;
  if (power <= kQuiet * loudest_[target]) return std::nullopt;
  return share_db((first ? at.rest_a : at.rest_b) / power);
}

bool WireComparison::is_shallow(std::size_t target, std::size_t source, std::size_t w) const {
  const auto depth = depth_db(target, source, w);
  return depth && *depth >= kShallow_db;
}

double WireComparison::deep_share(std::size_t target, std::size_t source) const {
  double loud = 0.0;
  double deep = 0.0;
  for (std::size_t w = 0; w < windows_.size(); ++w) {
    if (!depth_db(target, source, w)) continue;
    loud += 1.0;
    if (is_deep(target, source, w)) deep += 1.0;
  }
  return loud > 0.0 ? deep / loud : 0.0;
}

double WireComparison::gain_db(std::size_t target, std::size_t source) const {
  std::vector<double> gains = gains_db(target, source);
  return gains.empty() ? 0.0 : median(std::move(gains));
}

double WireComparison::steadiness(std::size_t target, std::size_t source) const {
  const std::vector<double> gains = gains_db(target, source);
  const double gain = gain_db(target, source);
  const auto same = std::count_if(gains.begin(), gains.end(), [&](double each) {
    return std::abs(each - gain) < kSameLevel_db;
  });
  return gains.empty() ? 0.0 : static_cast<double>(same) / static_cast<double>(gains.size());
}

bool WireComparison::inverted(std::size_t a, std::size_t b) const {
  double cross = 0.0;
  for (const Meeting& at : pair(a, b).windows) cross += at.cross;
  return cross < 0.0;
}

double WireComparison::source_s(std::size_t target, std::size_t source, double mix_s) const {
  const double late_s = pair(target, source).delay.at(mix_s);
  return target < source ? signals_[source].at(mix_s) + late_s
                         : signals_[source].at(mix_s) - late_s;
}

PlacedSignal WireComparison::heard(std::size_t target, std::size_t source) const {
  const double start_s = source_s(target, source, 0.0);
  const double per_s = source_s(target, source, 1.0) - start_s;
  return {signals_[source].signal, -start_s / per_s, 1.0 / per_s};
}

std::optional<CommonDelay> WireComparison::common_delay(std::size_t target,
                                                        const std::vector<std::size_t>& sources,
                                                        double cluster_s) const {
  if (sources.empty()) return std::nullopt;
  CommonDelay common;
  common.placed = PlacedSignal{nullptr, signals_[sources[0]].lag_s, signals_[sources[0]].slope};
  std::vector<Observation> told;
  std::vector<std::pair<std::size_t, std::size_t>> by;  // window and source of each
  for (std::size_t w = 0; w < windows_.size(); ++w) {
    std::optional<Observation> best;
    std::size_t teller = 0;
    for (const std::size_t source : sources) {
      const auto& seen = seen_[w][index(std::min(target, source), std::max(target, source))];
      if (source == target || !seen || (best && best->sigma_s <= seen->sigma_s)) continue;
      best = seen;
      teller = source;
    }
    if (!best) continue;
    const double late_s = target < teller ? best->offset_s : -best->offset_s;
    best->offset_s = signals_[teller].at(best->line_s) + late_s - common.placed.at(best->line_s);
    told.push_back(*best);
    by.emplace_back(w, teller);
  }
  LineFitOptions options = kWireLine;
  options.cluster_s = cluster_s;
  const LineFit line = fit_line(told, options);
  if (!line.found || line.used < 2) return std::nullopt;
  common.tells.resize(windows_.size());
  for (std::size_t i = 0; i < told.size(); ++i)
    if (line.weights[i] > 0.0) common.tells[by[i].first] = by[i].second;
  // placed.at(t) + line.at(t), as one line.
  const double slope = 1.0 / (1.0 / common.placed.slope + line.slope);
  common.placed = {nullptr, -slope * (common.placed.at(0.0) + line.at(0.0)), slope};
  return common;
}

Result<std::vector<std::optional<double>>> WireComparison::joint_depths_db(
    std::size_t target, const PlacedSignal& common, const std::vector<std::size_t>& sources) const {
  std::vector<std::optional<double>> depths(windows_.size());
  std::vector<std::optional<Error>> errors(windows_.size());
  struct Workspace {
    WindowAnalyser analyser;
    WindowSpectra target;
    std::vector<WindowSpectra> sources;
  };
  parallel_with(
      static_cast<int>(windows_.size()), threads_, [] { return Workspace{}; },
      [&](int window, Workspace& own) {
        const auto w = static_cast<std::size_t>(window);
        if (stopped() || !is_loud(target, w)) return;
        own.sources.resize(sources.size());
        auto taken = own.analyser.take(signals_[target], windows_[w], 0.0, 0.0, own.target);
        for (std::size_t i = 0; taken && i < sources.size(); ++i) {
          PlacedSignal at = common;
          at.signal = signals_[sources[i]].signal;
          taken = own.analyser.take(at, windows_[w], 0.0, 0.0, own.sources[i]);
        }
        if (!taken)
          errors[w] = taken.error();
        else
          depths[w] = share_db(unexplained_share(own.target, own.sources));
      });
  if (auto done = outcome(errors); !done) return done.error();
  return depths;
}

double WireComparison::depth_db(std::size_t target, std::size_t source) const {
  const bool first = target < source;
  double rest = 0.0;
  double power = 0.0;
  for (const Meeting& at : pair(target, source).windows) {
    rest += first ? at.rest_a : at.rest_b;
    power += first ? at.power_a : at.power_b;
  }
  return power > 0.0 ? share_db(rest / power) : 0.0;
}

bool WireComparison::runs(std::size_t signal, std::size_t w) const {
  const PlacedSignal& placed = signals_[signal];
  return placed.at(windows_[w]) >= 0.0 &&
         placed.at(windows_[w] + kSpectrumWindow_s) <=
             static_cast<double>(placed.signal->frames()) / kAnalysisRateHz;
}

Overlap WireComparison::overlap(std::size_t a, std::size_t b) const {
  std::vector<Meeting> both;
  const auto& meetings = pair(a, b).windows;
  double loudest_a = 0.0;
  double loudest_b = 0.0;
  for (std::size_t w = 0; w < meetings.size(); ++w) {
    if (!runs(a, w) || !runs(b, w)) continue;
    both.push_back(meetings[w]);
    loudest_a = std::max(loudest_a, meetings[w].power_a);
    loudest_b = std::max(loudest_b, meetings[w].power_b);
  }
  std::erase_if(both, [&](const Meeting& at) {
    return at.power_a <= kQuiet * loudest_a || at.power_b <= kQuiet * loudest_b;
  });
  Overlap found;
  found.windows = both.size();
  if (both.empty()) return found;
  Meeting all;
  std::vector<double> gains_db;
  std::size_t deep = 0;
  for (const Meeting& at : both) {
    all.power_a += at.power_a;
    all.power_b += at.power_b;
    all.rest_a += at.rest_a;
    all.rest_b += at.rest_b;
    gains_db.push_back(share_db(at.power_a / at.power_b));
    if (share_db(std::max(at.rest_a / at.power_a, at.rest_b / at.power_b)) <= kDeep_db) ++deep;
  }
  const double gain_db = median(gains_db);
  const auto steady = std::count_if(gains_db.begin(), gains_db.end(), [&](double each_db) {
    return std::abs(each_db - gain_db) < kSameLevel_db;
  });
  const auto count = static_cast<double>(both.size());
  found.depth_db = share_db(std::max(all.rest_a / all.power_a, all.rest_b / all.power_b));
  found.deep_share = static_cast<double>(deep) / count;
  found.steadiness = static_cast<double>(steady) / count;
  return found;
}

Result<std::vector<Stretch>> WireComparison::unexplained(std::size_t target,
                                                         std::size_t source) const {
  const PlacedSignal& whole = signals_[target];
  const PlacedSignal part = heard(target, source);
  const auto end_s = [](const PlacedSignal& of) {
    return of.lag_s + of.slope * static_cast<double>(of.signal->frames()) / kAnalysisRateHz;
  };
  const double from_s = std::max(whole.lag_s, part.lag_s);
  const double length_s = std::min(end_s(whole), end_s(part)) - from_s;
  constexpr double kStep_s = static_cast<double>(kSpectrumFrames * kSpectrumHop) / kAnalysisRateHz;
  const auto count = static_cast<std::size_t>(std::ceil(std::max(0.0, length_s / kStep_s)));
  std::vector<FrameRests> rests(count);
  std::vector<std::optional<Error>> errors(count);
  struct Workspace {
    WindowAnalyser analyser;
    WindowSpectra target;
    WindowSpectra source;
  };
  parallel_with(
      static_cast<int>(count), threads_, [] { return Workspace{}; },
      [&](int window, Workspace& own) {
        if (stopped()) return;
        const double at_s = from_s + window * kStep_s;
        auto taken = own.analyser.take(whole, at_s, 0.0, 0.0, own.target);
        if (taken) taken = own.analyser.take(part, at_s, 0.0, 0.0, own.source);
        if (taken)
          rests[static_cast<std::size_t>(window)] = rests_of_frames(own.target, own.source);
        else
          errors[static_cast<std::size_t>(window)] = taken.error();
      });
  if (auto done = outcome(errors); !done) return done.error();
  std::vector<float> powers;
  for (const FrameRests& window : rests)
    for (const FrameRest& frame : window) powers.push_back(frame.power);
  std::vector<Stretch> stretches;
  if (powers.empty()) return stretches;
  const auto wont = powers.begin() + static_cast<std::ptrdiff_t>(powers.size() * 9 / 10);
  std::nth_element(powers.begin(), wont, powers.end());
  const float loud = static_cast<float>(kNotQuiet) * *wont;
  const auto share = static_cast<float>(db_to_power(kUnexplained_db));
  constexpr double kFrame_s = static_cast<double>(kSpectrumFrame) / kAnalysisRateHz;
  constexpr double kHop_s = static_cast<double>(kSpectrumHop) / kAnalysisRateHz;
  double at_s = from_s;
  for (const FrameRests& window : rests)
    for (const FrameRest& frame : window) {
      if (frame.power > loud && frame.rest > share * frame.power) {
        if (stretches.empty() || stretches.back().to_s < at_s - kPause_s)
          stretches.push_back({at_s, 0.0});
        stretches.back().to_s = at_s + kFrame_s;
      }
      at_s += kHop_s;
    }
  std::stable_sort(stretches.begin(), stretches.end(), [](const Stretch& a, const Stretch& b) {
    return a.to_s - a.from_s > b.to_s - b.from_s;
  });
  return stretches;
}

std::vector<double> WireComparison::gains_db(std::size_t target, std::size_t source) const {
  std::vector<double> gains;
  for (std::size_t w = 0; w < pair(target, source).windows.size(); ++w) {
    const Meeting& at = pair(target, source).windows[w];
    if (!depth_db(target, source, w) || !depth_db(source, target, w)) continue;
    const double gain = share_db(at.power_a / std::max(at.power_b, 1e-30));
    gains.push_back(target < source ? gain : -gain);
  }
  return gains;
}

Result<void> WireComparison::find_delays() {
  const std::size_t n = signals_.size();
  power_.assign(n, std::vector<double>(windows_.size(), 0.0));
  seen_.resize(windows_.size());
  std::vector<std::optional<Error>> errors(windows_.size());
  struct Workspace {
    WindowAnalyser analyser;
    std::vector<WindowSpectra> spectra;
  };
  parallel_with(
      static_cast<int>(windows_.size()), threads_,
      [n] {
        return Workspace{{}, std::vector<WindowSpectra>(n)};
      },
      [&](int window, Workspace& own) {
        const auto w = static_cast<std::size_t>(window);
        for (std::size_t i = 0; i < n; ++i) {
          if (stopped()) return;
          auto taken = own.analyser.take(signals_[i], windows_[w], 0.0, 0.0, own.spectra[i]);
          if (!taken) {
            errors[w] = taken.error();
            return;
          }
          power_[i][w] = meet(own.spectra[i], own.spectra[i]).power_a;
        }
        const double middle_s = windows_[w] + 0.5 * kSpectrumWindow_s;
        for (std::size_t b = 1; b < n; ++b)
          for (std::size_t a = 0; a < b; ++a)
            seen_[w].push_back(own.analyser.delay(own.spectra[a], own.spectra[b], middle_s));
      });
  if (auto done = outcome(errors); !done) return done;
  loudest_.clear();
  for (const auto& powers : power_)
    loudest_.push_back(*std::max_element(powers.begin(), powers.end()));
  for (std::size_t p = 0; p < pairs_.size(); ++p) {
    std::vector<Observation> observations;
    for (const auto& window : seen_)
      if (window[p]) observations.push_back(*window[p]);
    if (observations.size() < kLeastTogether) continue;
    pairs_[p].delay = fit_line(observations, kWireLine);
  }
  return {};
}

Result<void> WireComparison::find_depths() {
  for (SignalPair& pair : pairs_)
    if (pair.delay.found && pair.delay.used >= static_cast<int>(kLeastTogether))
      pair.windows.resize(windows_.size());
  const std::size_t n = signals_.size();
  std::vector<std::optional<Error>> errors(n * windows_.size());
  struct Workspace {
    WindowAnalyser analyser;
    WindowSpectra first;
    WindowSpectra second;
  };
  parallel_with(
      static_cast<int>(errors.size()), threads_, [] { return Workspace{}; },
      [&](int i, Workspace& own) {
        const std::size_t a = static_cast<std::size_t>(i) / windows_.size();
        const std::size_t w = static_cast<std::size_t>(i) % windows_.size();
        bool is_taken = false;
        for (std::size_t b = a + 1; b < n; ++b) {
          SignalPair& pair = pairs_[index(a, b)];
          if (pair.windows.empty()) continue;
          if (stopped()) return;
          Result<void> taken;
          if (!is_taken) taken = own.analyser.take(signals_[a], windows_[w], 0.0, 0.0, own.first);
          is_taken = true;
          if (taken)
            taken = own.analyser.take(signals_[b], windows_[w], pair.delay.at(0.0),
                                      pair.delay.slope, own.second);
          if (!taken) {
            errors[static_cast<std::size_t>(i)] = taken.error();
            return;
          }
          pair.windows[w] = meet(own.first, own.second);
        }
      });
  return outcome(errors);
}

Result<void> WireComparison::outcome(const std::vector<std::optional<Error>>& errors) const {
  for (const auto& error : errors)
    if (error) return *error;
  if (stopped()) return Error{ErrorKind::interrupted, {}, "interrupted", ""};
  return {};
}

}  // namespace kilter::sync
