#include "kilter/sync/talk_levels.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "kilter/base/decibels.h"
#include "kilter/base/parallel.h"
#include "kilter/signal/hum_meter.h"
#include "wide_bands.h"

namespace kilter::sync {
namespace {

constexpr double kTalks_db = -12.0;  // against the track's own loud seconds
constexpr double kLoudShare = 0.01;
constexpr std::size_t kLoudSeconds = 5;
constexpr double kNothing_db = -100.0;

double loud_db(std::vector<double> levels) {
  if (levels.empty()) return 0.0;
  const auto share = static_cast<std::size_t>(kLoudShare * static_cast<double>(levels.size()));
  const std::size_t rank = std::min(std::max(kLoudSeconds, share), levels.size() - 1);
  const auto at = levels.begin() + static_cast<std::ptrdiff_t>(rank);
  std::nth_element(levels.begin(), at, levels.end(), std::greater<>());
  return *at;
}

/// The same without the mains' hum.
Result<std::vector<double>> levels_without_hum_db(const AnalysisSignal& signal, double hum_hz,
                                                  const std::atomic<bool>* stop) {
  const std::int64_t period = std::llround(kAnalysisRateHz / hum_hz);
  std::vector<double> levels;
  std::vector<float> frames(static_cast<std::size_t>(kAnalysisRateHz + period));
  for (std::int64_t first = 0; first < signal.frames(); first += kAnalysisRateHz) {
    if (stop != nullptr && stop->load())
      return Error{ErrorKind::interrupted, {}, "interrupted", ""};
    if (auto read = signal.read(first - period, frames); !read) return read.error();
    levels.push_back(power_to_db(power_without_period(frames, static_cast<std::size_t>(period))));
  }
  return levels;
}

}  // namespace

Result<std::vector<double>> levels_db(const AnalysisSignal& signal, const std::atomic<bool>* stop) {
  std::vector<double> levels;
  std::vector<float> second(kAnalysisRateHz);
  HumMeter meter(SampleRate{kAnalysisRateHz});
  for (std::int64_t first = 0; first < signal.frames(); first += kAnalysisRateHz) {
    if (stop != nullptr && stop->load())
      return Error{ErrorKind::interrupted, {}, "interrupted", ""};
    if (auto read = signal.read(first, second); !read) return read.error();
    meter.process(second);
    levels.push_back(power_to_db(sum_of_squares(second) / kAnalysisRateHz));
  }
  if (const auto hum = meter.hum()) return levels_without_hum_db(signal, hum->hz, stop);
  return levels;
}

TalkLevels::TalkLevels(std::vector<std::vector<double>> levels_db) : levels_(std::move(levels_db)) {
  for (std::vector<double>& levels : levels_) {
    loud_db_.push_back(loud_db(levels));
    for (double& level : levels) level -= loud_db_.back();
  }
}

Result<TalkLevels> TalkLevels::measure(const std::vector<const AnalysisSignal*>& signals,
                                       int threads, const std::atomic<bool>* stop) {
  std::vector<std::vector<double>> all(signals.size());
  std::vector<std::optional<Error>> errors(signals.size());
  parallel_for(static_cast<int>(signals.size()), threads, [&](int i) {
    const auto at = static_cast<std::size_t>(i);
    if (auto made = levels_db(*signals[at], stop))
      all[at] = *std::move(made);
    else
      errors[at] = made.error();
  });
  for (const auto& error : errors)
    if (error) return *error;
  return TalkLevels(std::move(all));
}

std::optional<double> TalkLevels::at(std::size_t track, double track_s) const {
  std::optional<double> louder;
  for (const double second : {track_s - 0.5, track_s + 0.5}) {
    if (second < 0.0 || second >= static_cast<double>(levels_[track].size())) continue;
    const double level = levels_[track][static_cast<std::size_t>(second)];
    louder = louder ? std::max(*louder, level) : level;
  }
  return louder;
}

std::optional<double> TalkLevels::on_timeline(const std::vector<const TimeMap*>& maps,
                                              std::size_t track, double line_s) const {
  const auto track_s = maps[track] != nullptr ? maps[track]->to_track(line_s) : std::nullopt;
  return track_s ? at(track, *track_s) : std::nullopt;
}

std::optional<double> TalkLevels::alone_db(const std::vector<const TimeMap*>& maps,
                                           std::size_t from, double line_s) const {
  const auto own = on_timeline(maps, from, line_s);
  if (!own || *own < kTalks_db) return std::nullopt;
  double others = kNothing_db;
  for (std::size_t k = 0; k < maps.size(); ++k)
    if (k != from) others = std::max(others, on_timeline(maps, k, line_s).value_or(kNothing_db));
  return *own - others;
}

std::optional<TalkLevels::Lead> TalkLevels::lead_of(const std::vector<const TimeMap*>& maps,
                                                    std::size_t from, double line_s) const {
  const auto own = on_timeline(maps, from, line_s);
  if (!own || *own < kTalks_db) return std::nullopt;
  Lead lead{-kNothing_db, from};
  for (std::size_t k = 0; k < maps.size(); ++k) {
    const auto other = k != from ? on_timeline(maps, k, line_s) : std::nullopt;
    if (!other) continue;
    const double db = *own + loud_db_[from] - *other - loud_db_[k];
    if (db < lead.db) lead = {db, k};
  }
  return lead;
}

}  // namespace kilter::sync
