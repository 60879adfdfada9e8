#include "kilter/sync/residuals.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <limits>
#include <optional>
#include <thread>

#include "kilter/base/decibels.h"
#include "kilter/base/parallel.h"
#include "track_fit.h"

namespace kilter::sync {
namespace {

// What windows of one track share by codecs and rooms is not averaged away.
constexpr double kFloor_s = 20e-6;
constexpr double kSharedFloor_s = 3e-6;
// In units of a standard error squared: what a new stretch must explain to be one.
constexpr double kPriceOfAStretch = 40.0;
constexpr double kMostOfAWindow = 400.0;  // no single window tears a line
constexpr double kSteepest = 300e-6;
constexpr double kWindowsWanted = 15.0;
constexpr double kShortest_s = 2.5;
constexpr double kLongest_s = 6.0;
// A network's buffer is back within seconds: what stays longer, by the middles of its windows, is
// the track's own.
constexpr int kLastingWindows = 2;
constexpr double kLasting_s = 9.0;
constexpr double kAgree_s = 0.4e-3;  // what stands before and behind a passing stretch
constexpr double kDeparture_s = 0.3e-3;
constexpr double kLeastStair_s = 1.5e-3;
constexpr double kLargestStair_s = 20e-3;
constexpr double kStairShare = 0.5;
constexpr int kFewestStairs = 2;
constexpr int kFewestClear = 3;
constexpr std::size_t kFewestTurned = 3;
constexpr double kMostly = 0.7;
constexpr double kLeastClearShare = 0.25;
// A track speaks where it is within so much of the mean of its loudest tenth.
constexpr double kTalkBelowLoud_db = 11.0;
constexpr double kThroughTheRoom_s = 0.020;
constexpr double kTwoSigma = 2.0;

Result<double> power_db(const MappedTrack& track, double from_s, double length_s,
                        std::vector<float>& samples) {
  const auto at_s = track.map->to_track(from_s + 0.5 * length_s);
  if (!at_s) return -200.0;
  samples.resize(static_cast<std::size_t>(length_s * kAnalysisRateHz));
  const auto first = std::llround((*at_s - 0.5 * length_s) * kAnalysisRateHz);
  if (auto read = track.signal->read(first, samples); !read) return read.error();
  double sum = 0.0;
  for (const float sample : samples) sum += static_cast<double>(sample) * sample;
  return power_to_db(sum / static_cast<double>(samples.size()));
}

/// From which level on the track speaks.
double talk_level_db(std::vector<double> levels_db) {
  if (levels_db.empty()) return 0.0;
  std::sort(levels_db.begin(), levels_db.end());
  const std::size_t tenth = levels_db.size() - 1 - levels_db.size() / 10;
  constexpr double kSilence_db = -110.0;
  return std::max(levels_db[tenth] - kTalkBelowLoud_db, kSilence_db);
}

/// A microphone whose own person is silent hears another later by the way through the room: where
/// that one's own track is gone or coarse, the mix seems to have it earlier.
bool may_be_a_neighbour(const Reading& reading) {
  return -reading.offset_s > kDeparture_s && -reading.offset_s < kThroughTheRoom_s;
}

/// Weighted sums from which the line through any stretch of windows follows at once.
struct Sums {
  double w{0.0}, wt{0.0}, wtt{0.0}, wy{0.0}, wty{0.0}, wyy{0.0};
  int n{0};

  void add(const ResidualWindow& window, double origin_s) {
    const double weight = 1.0 / (window.sigma_s * window.sigma_s + kFloor_s * kFloor_s);
    const double t = window.line_s - origin_s;
    w += weight;
    wt += weight * t;
    wtt += weight * t * t;
    wy += weight * window.late_s;
    wty += weight * t * window.late_s;
    wyy += weight * window.late_s * window.late_s;
    ++n;
  }
  Sums plus(const Sums& other) const {
    return {w + other.w,     wt + other.wt,   wtt + other.wtt, wy + other.wy,
            wty + other.wty, wyy + other.wyy, n + other.n};
  }
  Sums minus(const Sums& other) const {
    return {w - other.w,     wt - other.wt,   wtt - other.wtt, wy - other.wy,
            wty - other.wty, wyy - other.wyy, n - other.n};
  }
};

struct Line {
  double mean_t{0.0};
  double mean_y{0.0};
  double slope{0.0};
  double spread{0.0};  // weighted sum of squares of the times round their mean
  double chi2{0.0};
};

Line line_of(const Sums& sums) {
  Line line;
  line.mean_t = sums.wt / sums.w;
  line.mean_y = sums.wy / sums.w;
  line.spread = std::max(sums.wtt - sums.w * line.mean_t * line.mean_t, 0.0);
  const double cross = sums.wty - sums.w * line.mean_t * line.mean_y;
  const double own = std::max(sums.wyy - sums.w * line.mean_y * line.mean_y, 0.0);
  if (sums.n >= 3 && line.spread > 0.0)
    line.slope = std::clamp(cross / line.spread, -kSteepest, kSteepest);
  line.chi2 = own - 2.0 * line.slope * cross + line.slope * line.slope * line.spread;
  return line;
}

ResidualRun run_of(const Sums& sums, double from_s, double to_s, double origin_s) {
  const Line line = line_of(sums);
  ResidualRun run;
  run.from_s = from_s;
  run.to_s = to_s;
  run.windows = sums.n;
  run.slope = line.slope;
  run.late_s = line.mean_y + line.slope * (run.middle_s() - origin_s - line.mean_t);
  // Windows that scatter more than they say know less.
  const double excess = std::sqrt(std::max(1.0, line.chi2 / std::max(sums.n - 2, 1)));
  run.sigma_s = std::hypot(excess / std::sqrt(sums.w), kSharedFloor_s);
  run.slope_sigma = sums.n >= 3 && line.spread > 0.0 ? excess / std::sqrt(line.spread) : 0.0;
  return run;
}

/// A stretch of windows, and what a line through it and others needs.
struct Part {
  Sums sums;
  ResidualRun run;
};

/// The cheapest way to part the windows into stretches. Times in sums count from the first window.
std::vector<Part> part(const std::vector<ResidualWindow>& windows) {
  const std::size_t count = windows.size();
  const double origin_s = windows.front().line_s;
  std::vector<Sums> before(count + 1);
  for (std::size_t i = 0; i < count; ++i) {
    before[i + 1] = before[i];
    before[i + 1].add(windows[i], origin_s);
  }
  std::vector<double> cost(count + 1, std::numeric_limits<double>::infinity());
  std::vector<std::size_t> begins(count + 1, 0);
  cost[0] = 0.0;
  for (std::size_t end = 1; end <= count; ++end)
    for (std::size_t from = 0; from < end; ++from) {
      const Sums sums = before[end].minus(before[from]);
      const double chi2 = std::min(line_of(sums).chi2, kMostOfAWindow * sums.n);
      const double whole = cost[from] + chi2 + kPriceOfAStretch;
      if (whole < cost[end]) {
        cost[end] = whole;
        begins[end] = from;
      }
    }
  std::vector<Part> parts;
  for (std::size_t end = count; end > 0; end = begins[end]) {
    const Sums sums = before[end].minus(before[begins[end]]);
    parts.push_back(
        {sums, run_of(sums, windows[begins[end]].line_s, windows[end - 1].line_s, origin_s)});
  }
  std::reverse(parts.begin(), parts.end());
  return parts;
}

bool lasts(const ResidualRun& run) {
  return run.windows >= kLastingWindows && run.to_s - run.from_s >= kLasting_s;
}

/// Whether one line may be both: what stands before a passing stretch and what stands behind it.
bool agree(const ResidualRun& before, const ResidualRun& behind) {
  const double middle_s = 0.5 * (before.to_s + behind.from_s);
  return std::abs(before.at(middle_s) - behind.at(middle_s)) < kAgree_s;
}

/// Lasting stretches are the track's own; of the others, those that pass are the mix's. What passes
/// parts no line.
void tell_apart(const std::vector<Part>& all, double origin_s, double passes_within_s,
                Residual& result) {
  std::vector<std::size_t> own;
  for (std::size_t i = 0; i < all.size(); ++i)
    if (lasts(all[i].run)) own.push_back(i);
  if (own.empty()) {  // a short session: the best supported stands for all
    const auto best = std::max_element(all.begin(), all.end(), [](const Part& a, const Part& b) {
      return a.run.windows < b.run.windows;
    });
    own.push_back(static_cast<std::size_t>(best - all.begin()));
  }
  Part here = all[own.front()];
  for (std::size_t k = 1; k < own.size(); ++k) {
    const Part& next = all[own[k]];
    const bool passed = own[k] > own[k - 1] + 1;
    const bool is_soon = next.run.from_s - here.run.to_s <= passes_within_s;
    if (!passed || !agree(here.run, next.run) || !is_soon) {
      result.runs.push_back(here.run);
      // Away, and nothing says that it came back soon: the track's own, if more than one window's.
      for (std::size_t i = own[k - 1] + 1; i < own[k] && !is_soon; ++i)
        if (all[i].run.windows >= 2 || passes_within_s == 0.0) result.runs.push_back(all[i].run);
      here = next;
      continue;
    }
    for (std::size_t i = own[k - 1] + 1; i < own[k]; ++i) {
      const ResidualRun& run = all[i].run;
      const double away_s = run.late_s - here.run.at(run.middle_s());
      if (std::abs(away_s) >= kDeparture_s)
        result.passing.push_back({run.from_s, run.to_s, away_s});
    }
    const Sums sums = here.sums.plus(next.sums);
    here = {sums, run_of(sums, here.run.from_s, next.run.to_s, origin_s)};
  }
  result.runs.push_back(here.run);
}

/// Steps all one way with slopes that undo them: then the one line through all is the track's.
void look_for_stairs(const std::vector<ResidualWindow>& windows, Residual& result) {
  const auto& runs = result.runs;
  if (runs.size() < kFewestStairs + 1) return;
  double tallest_s = 0.0;
  for (std::size_t i = 0; i + 1 < runs.size(); ++i) {
    const double middle_s = 0.5 * (runs[i].to_s + runs[i + 1].from_s);
    const double step_s = runs[i + 1].at(middle_s) - runs[i].at(middle_s);
    const double size_s = std::abs(step_s);
    const double slope = 0.5 * (runs[i].slope + runs[i + 1].slope);
    const double period_s = runs[i + 1].middle_s() - runs[i].middle_s();
    const bool undone = std::abs(step_s + slope * period_s) < kStairShare * size_s;
    if (size_s < kLeastStair_s || size_s > kLargestStair_s || !undone) return;
    tallest_s = std::max(tallest_s, size_s);
  }
  Sums sums;
  const double origin_s = windows.front().line_s;
  for (const ResidualWindow& window : windows) sums.add(window, origin_s);
  const auto stairs = static_cast<double>(runs.size() - 1);
  ResidualRun line = run_of(sums, windows.front().line_s, windows.back().line_s, origin_s);
  line.sigma_s = std::max(line.sigma_s, tallest_s / (2.0 * kTwoSigma * std::sqrt(stairs)));
  result.in_stairs = true;
  result.stair_s = tallest_s;
  result.runs = {line};
}

void find_worst(Residual& result) {
  for (const ResidualRun& run : result.runs)
    for (const double at_s : {run.from_s, run.to_s}) {
      const double late_s = run.at(at_s);
      if (std::abs(late_s) < std::abs(result.worst_s) && result.uncertainty_s > 0.0) continue;
      result.worst_s = late_s;
      result.worst_at_s = at_s;
      result.uncertainty_s = kTwoSigma * run.sigma_at(at_s);
    }
}

void count(std::span<const ResidualWindow> windows, Residual& result) {
  int unheard = 0;
  double from_s = 0.0;
  for (const ResidualWindow& window : windows) {
    ++result.speaking;
    result.clear += window.clear ? 1 : 0;
    result.inverted += window.inverted ? 1 : 0;
    unheard = window.clear ? 0 : unheard + 1;
    if (unheard == 1) from_s = window.line_s;
    if (unheard <= result.unheard_in_a_row) continue;
    result.unheard_in_a_row = unheard;
    result.unheard_from_s = from_s;
  }
}

/// Stretches that are upside down against the rest.
void find_turned(const std::vector<ResidualWindow>& clear, Residual& result) {
  const bool mostly = result.inverted > kMostly * result.clear;
  for (std::size_t from = 0; from < clear.size();) {
    std::size_t to = from;
    while (to < clear.size() && clear[to].inverted != mostly) ++to;
    if (to - from >= kFewestTurned)
      result.turned.push_back({clear[from].line_s, clear[to - 1].line_s});
    from = std::max(to, from + 1);
  }
}

}  // namespace

double ResidualRun::sigma_at(double line_s) const {
  return std::hypot(sigma_s, slope_sigma * (line_s - middle_s()));
}

bool Residual::has_evidence() const {
  if (runs.empty()) return false;
  // By chance two would agree to a tenth of a millisecond in one of a thousand.
  if (clear == 2) return speaking == 2 && runs.size() == 1 && runs.front().windows == 2;
  return clear >= kFewestClear && clear >= kLeastClearShare * static_cast<double>(speaking);
}

Result<std::vector<std::vector<ResidualWindow>>> measure_residuals(
    const AnalysisSignal& mix, double mix_length_s, const std::vector<MappedTrack>& tracks,
    const ResidualOptions& options) {
  std::vector<std::vector<ResidualWindow>> result(tracks.size());
  if (tracks.empty()) return result;
  const double window_s =
      std::min(std::clamp(mix_length_s / kWindowsWanted, kShortest_s, kLongest_s), mix_length_s);
  const int windows = static_cast<int>(std::ceil(mix_length_s / window_s - 1e-6));
  const auto start_s = [&](int w) {  // the last one ends with the mix
    return std::max(0.0, std::min(w * window_s, mix_length_s - window_s));
  };
  struct Window {
    std::vector<Reading> readings;
    std::vector<double> levels_db;
    std::optional<Error> error;
  };
  std::vector<Window> measured(static_cast<std::size_t>(windows));
  const auto make_meter = [&] {
    return WindowMeter({.search_s = options.search_s, .joint = true});
  };
  std::atomic<bool> failed{false};  // windows before that one have begun, and tell their own errors
  const auto caller = std::this_thread::get_id();
  const auto is_stopped = [&] { return options.stop != nullptr && options.stop->load(); };
  parallel_with(windows, options.threads, make_meter, [&](int w, WindowMeter& meter) {
    if (is_stopped() || failed) return;
    Window& here = measured[static_cast<std::size_t>(w)];
    auto readings = meter.measure(mix, tracks, start_s(w), window_s);
    if (!readings) {
      here.error = readings.error();
      failed = true;
      return;
    }
    here.readings = *std::move(readings);
    std::vector<float> samples;
    for (const MappedTrack& track : tracks) {
      const auto level = power_db(track, start_s(w), window_s, samples);
      if (!level) {
        here.error = level.error();
        failed = true;
        return;
      }
      here.levels_db.push_back(*level);
    }
    if (options.progress && std::this_thread::get_id() == caller)
      options.progress(static_cast<double>(w) / windows);
  });
  if (is_stopped()) return Error{ErrorKind::interrupted, {}, "interrupted", ""};
  for (const Window& here : measured)
    if (here.error) return *here.error;

  for (std::size_t k = 0; k < tracks.size(); ++k) {
    std::vector<double> levels_db;
    for (const Window& here : measured) levels_db.push_back(here.levels_db[k]);
    const double least_db = talk_level_db(levels_db);
    for (int w = 0; w < windows; ++w) {
      const Window& here = measured[static_cast<std::size_t>(w)];
      const Reading& reading = here.readings[k];
      const bool clear = reading.heard && is_clear(reading);
      const bool talks = here.levels_db[k] >= least_db;
      if (!clear && !talks) continue;
      if (!talks && may_be_a_neighbour(reading)) continue;
      result[k].push_back({start_s(w) + 0.5 * window_s, -reading.offset_s, trusted_sigma_s(reading),
                           clear, clear && reading.inverted});
    }
  }
  return result;
}

Residual judge_residuals(std::span<const ResidualWindow> windows, double passes_within_s) {
  Residual result;
  count(windows, result);
  std::vector<ResidualWindow> clear;
  for (const ResidualWindow& window : windows)
    if (window.clear) clear.push_back(window);
  if (clear.empty()) return result;
  tell_apart(part(clear), clear.front().line_s, passes_within_s, result);
  look_for_stairs(clear, result);
  find_turned(clear, result);
  find_worst(result);
  return result;
}

}  // namespace kilter::sync
