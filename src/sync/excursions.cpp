#include "kilter/sync/excursions.h"

#include <algorithm>
#include <cmath>

namespace kilter::sync {
namespace {

constexpr double kWindow_s = 0.7;
constexpr double kHop_s = 0.25;
constexpr double kSearch_s = 0.080;
constexpr double kLeast_s = 1.5e-3;
constexpr double kMost_s = 0.075;
constexpr double kAgreement_s = 3e-3;  // of two windows in a row
constexpr double kLeastPeakSigma = 8.0;
constexpr double kLeastCoherence = 0.35;
constexpr double kSureCoherence = 0.6;  // then one window will do
constexpr double kMostRival = 0.8;

struct Sight {
  double from_s{0.0};
  double offset_s{0.0};
  bool seen{false};  // clearly elsewhere than on its map
  bool sure{false};
  bool in_place{false};  // beyond doubt
};

Sight sight_of(const Reading& reading, double from_s) {
  Sight sight{from_s, reading.offset_s};
  const double away_s = std::abs(reading.offset_s);
  const bool clear = reading.heard && reading.peak_sigma >= kLeastPeakSigma &&
                     reading.coherence >= kLeastCoherence && reading.rival <= kMostRival;
  const bool sure = clear && reading.coherence >= kSureCoherence;
  sight.seen = clear && away_s >= kLeast_s && away_s <= kMost_s;
  sight.sure = sure && sight.seen;
  sight.in_place = sure && away_s < kLeast_s;
  return sight;
}

}  // namespace

Result<std::vector<MixExcursion>> find_excursions(const AnalysisSignal& mix,
                                                  const MappedTrack& track,
                                                  const std::vector<double>& middles_s,
                                                  double reach_s) {
  std::vector<MixExcursion> found;
  if (middles_s.empty()) return found;
  WindowMeter meter({.search_s = kSearch_s, .joint = false});
  std::vector<Sight> sights;
  double next_s = -1e9;  // windows lie on one grid, whatever stretches ask for them
  for (const double middle_s : middles_s) {
    const double first_s = std::max(0.0, std::floor((middle_s - reach_s) / kHop_s) * kHop_s);
    for (double from_s = std::max(next_s, first_s); from_s + kWindow_s <= middle_s + reach_s;
         from_s += kHop_s) {
      const auto readings = meter.measure(mix, {track}, from_s, kWindow_s);
      if (!readings) return readings.error();
      sights.push_back(sight_of(readings->front(), from_s));
      next_s = from_s + kHop_s;
    }
  }
  for (std::size_t i = 0; i < sights.size();) {
    if (!sights[i].seen) {
      ++i;
      continue;
    }
    std::size_t end = i + 1;
    bool agreed = false;
    bool sure = sights[i].sure;
    while (end < sights.size() && sights[end].seen &&
           sights[end].from_s - sights[end - 1].from_s < 1.5 * kHop_s) {
      agreed = agreed || std::abs(sights[end].offset_s - sights[end - 1].offset_s) < kAgreement_s;
      sure = sure || sights[end].sure;
      ++end;
    }
    if (agreed || sure) {
      MixExcursion excursion;
      excursion.from_s = sights[i].from_s;
      excursion.to_s = sights[end - 1].from_s + kWindow_s;
      const auto in_place = [](const Sight& sight) { return sight.in_place; };
      const auto first = sights.begin() + static_cast<std::ptrdiff_t>(i);
      const auto next = sights.begin() + static_cast<std::ptrdiff_t>(end);
      excursion.in_place_before = std::any_of(sights.begin(), first, in_place);
      excursion.in_place_after = std::any_of(next, sights.end(), in_place);
      for (std::size_t k = i; k < end; ++k)
        if (std::abs(sights[k].offset_s) > std::abs(excursion.offset_s))
          excursion.offset_s = sights[k].offset_s;
      found.push_back(excursion);
    }
    i = end;
  }
  return found;
}

}  // namespace kilter::sync
