#include "kilter/sync/lanes.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "kilter/base/wide_loops.h"

namespace kilter::sync {
namespace {

constexpr double kOneLane_s = 0.030;
constexpr double kLaneInOne = 9.5;  // sigma of one vote; chance reaches 8
constexpr double kLaneInAll = 12.0;
constexpr std::size_t kMostLanes = 12;
constexpr std::int64_t kBin = kFeatureRateHz;  // a second
constexpr double kJumpCost = 22.0;             // standard deviations of a second's match, summed
constexpr double kBesideChance = 6.0;
constexpr double kBesideShare = 0.08;  // of the strongest: a leak, or the voice it drowns
constexpr std::size_t kMostBeside = 3;
constexpr std::size_t kMinutesCompared = 24;
// Lags at which nothing can match: they tell how large a match chance makes.
constexpr double kChanceLags_s[] = {7.3, 11.9, -9.1, -13.7};

/// At most a second of feature frames, whose products fit in 32 bits many times over.
KILTER_WIDE std::int32_t match_of(const std::int16_t* spread, const std::int8_t* onsets,
                                  std::size_t count) {
  std::int32_t sum = 0;
  for (std::size_t i = 0; i < count; ++i) sum += std::int32_t{spread[i]} * onsets[i];
  return sum;
}

struct Candidate {
  double lag_s{0.0};
  double square{0.0};
  double strongest{0.0};
};

/// Lags that votes agree on, the strongest first.
std::vector<Candidate> candidates_of(const FirstMap& map) {
  std::vector<Vote> votes = map.votes;
  const double drift = map.drift_ppm * 1e-6;
  for (Vote& vote : votes) vote.lag_s += drift * vote.track_s;
  std::stable_sort(votes.begin(), votes.end(),
                   [](const Vote& a, const Vote& b) { return a.sigma > b.sigma; });
  std::vector<Candidate> candidates{{map.lag_s, 0.0, map.best_vote}};
  for (const Vote& vote : votes) {
    const auto known =
        std::find_if(candidates.begin(), candidates.end(), [&](const Candidate& candidate) {
          return std::abs(candidate.lag_s - vote.lag_s) < kOneLane_s;
        });
    if (known == candidates.end()) {
      candidates.push_back({vote.lag_s, vote.sigma * vote.sigma, vote.sigma});
      continue;
    }
    known->square += vote.sigma * vote.sigma;
  }
  const auto weak = [](const Candidate& candidate) {
    return candidate.strongest < kLaneInOne && std::sqrt(candidate.square) < kLaneInAll;
  };
  candidates.erase(std::remove_if(candidates.begin() + 1, candidates.end(), weak),
                   candidates.end());
  std::stable_sort(candidates.begin() + 1, candidates.end(),
                   [](const Candidate& a, const Candidate& b) { return a.square > b.square; });
  if (candidates.size() > kMostLanes) candidates.resize(kMostLanes);
  return candidates;
}

class LaneFinder {
 public:
  LaneFinder(const OnsetFeatures& reference, const OnsetFeatures& track, const FirstMap& map,
             double length_s)
      : reference_(reference),
        track_(track),
        drift_(map.drift_ppm * 1e-6),
        length_s_(length_s),
        bins_(static_cast<std::size_t>(reference.frames() / kBin + 1)) {}

  /// How well the whole track fits at each lag: of a long one, some minutes.
  std::vector<double> match(const std::vector<double>& lags_s) const {
    const std::size_t minutes = bins_ / 60;
    const std::size_t stride = 1 + minutes / (kMinutesCompared + 1);
    std::vector<double> sums(lags_s.size(), 0.0);
    for (std::size_t bin = 0; bin < bins_; ++bin) {
      if (bin / 60 % stride != 0) continue;
      const Spread spread = spread_in_bin(bin);
      for (std::size_t i = 0; i < lags_s.size(); ++i) sums[i] += match_in_bin(spread, lags_s[i]);
    }
    return sums;
  }

  std::vector<Lane> find(const std::vector<Candidate>& candidates) {
    const double chance = chance_level(candidates.front().lag_s);
    if (chance <= 0.0) return {whole(candidates.front())};
    std::vector<double> lags_s;
    lags_s.reserve(candidates.size());
    for (const Candidate& candidate : candidates) lags_s.push_back(candidate.lag_s);
    std::vector<std::vector<double>> match = match_per_bin(lags_s);
    for (auto& lane : match)
      for (double& m : lane) m = std::clamp(m / chance, -3.0, 12.0);
    const std::vector<int> path = best_path(candidates, match);
    std::vector<Lane> lanes;
    for (std::size_t from = 0; from < path.size();) {
      std::size_t to = from;
      while (to < path.size() && path[to] == path[from]) ++to;
      if (path[from] != kLost) {
        const Candidate& here = candidates[static_cast<std::size_t>(path[from])];
        lanes.push_back({here.lag_s, to_track(static_cast<double>(from), here.lag_s),
                         to_track(static_cast<double>(to), here.lag_s), here.strongest});
      }
      from = to;
    }
    return tidy(std::move(lanes));
  }

 private:
  static constexpr int kLost = -1;

  double to_track(double line_s, double lag_s) const { return (line_s - lag_s) / (1.0 - drift_); }

  static Lane whole_lane(const Candidate& candidate, double length_s) {
    return {candidate.lag_s, 0.0, length_s, candidate.strongest};
  }
  Lane whole(const Candidate& candidate) const { return whole_lane(candidate, length_s_); }

  /// A second of the reference, smeared over three frames: a lag is known no better.
  struct Spread {
    std::int64_t first;
    std::int64_t end;
    std::array<std::array<std::int16_t, static_cast<std::size_t>(kBin)>, kFeatureBands> bands;
  };

  Spread spread_in_bin(std::size_t bin) const {
    Spread spread;
    spread.first = static_cast<std::int64_t>(bin) * kBin;
    spread.end = std::min(spread.first + kBin, reference_.frames());
    for (std::size_t b = 0; b < kFeatureBands; ++b) {
      const auto& band = reference_.bands[b];
      const auto first = static_cast<std::size_t>(spread.first);
      for (std::size_t i = first; i < static_cast<std::size_t>(spread.end); ++i) {
        const int before = i > 0 ? band[i - 1] : 0;
        const int after = i + 1 < band.size() ? band[i + 1] : 0;
        spread.bands[b][i - first] = static_cast<std::int16_t>(before + 2 * band[i] + after);
      }
    }
    return spread;
  }

  /// How well the track fits that second of the reference at one lag.
  double match_in_bin(const Spread& spread, double lag_s) const {
    const auto shift =
        static_cast<std::int64_t>(std::llround(
            to_track(static_cast<double>(spread.first) / kFeatureRateHz, lag_s) * kFeatureRateHz)) -
        spread.first;
    const std::int64_t from = std::max(spread.first, -shift);
    const std::int64_t to = std::min(spread.end, track_.frames() - shift);
    std::int64_t sum = 0;
    if (from >= to) return 0.0;
    for (std::size_t b = 0; b < kFeatureBands; ++b)
      sum += match_of(spread.bands[b].data() + (from - spread.first),
                      track_.bands[b].data() + from + shift, static_cast<std::size_t>(to - from));
    return static_cast<double>(sum);
  }

  /// By lag, then second.
  std::vector<std::vector<double>> match_per_bin(const std::vector<double>& lags_s) const {
    std::vector<std::vector<double>> match(lags_s.size(), std::vector<double>(bins_, 0.0));
    for (std::size_t bin = 0; bin < bins_; ++bin) {
      const Spread spread = spread_in_bin(bin);
      for (std::size_t i = 0; i < lags_s.size(); ++i)
        match[i][bin] = match_in_bin(spread, lags_s[i]);
    }
    return match;
  }

  double chance_level(double lag_s) const {
    std::vector<double> lags_s;
    for (const double away_s : kChanceLags_s) lags_s.push_back(lag_s + away_s);
    double square = 0.0;
    double count = 0.0;
    for (const auto& match : match_per_bin(lags_s))
      for (const double m : match) {
        if (m == 0.0) continue;
        square += m * m;
        count += 1.0;
      }
    return count > 0.0 ? std::sqrt(square / count) : 0.0;
  }

  /// Seconds of the reference that the track has lost where it goes over from one lane to another.
  static std::size_t lost_between(const Candidate& from, const Candidate& to) {
    return static_cast<std::size_t>(std::max(0L, std::lround(to.lag_s - from.lag_s)));
  }

  /// The lane of every second, with the most match less `kJumpCost` for every change (Viterbi);
  /// `kLost` where the reference goes on without the track: no lane matches anything there, so that
  /// what the mix has twice is not taken for a loss of all that lies between.
  static std::vector<int> best_path(const std::vector<Candidate>& candidates,
                                    const std::vector<std::vector<double>>& match) {
    const std::size_t lanes = match.size();
    const std::size_t bins = match.front().size();
    std::vector<std::vector<double>> score(bins, std::vector<double>(lanes));
    std::vector<std::vector<std::size_t>> came_from(bins, std::vector<std::size_t>(lanes));
    for (std::size_t bin = 0; bin < bins; ++bin)
      for (std::size_t lane = 0; lane < lanes; ++lane) {
        double best = bin > 0 ? score[bin - 1][lane] : 0.0;
        came_from[bin][lane] = lane;
        for (std::size_t from = 0; from < lanes; ++from) {
          const std::size_t lost = lost_between(candidates[from], candidates[lane]);
          if (from == lane || lost + 1 > bin) continue;
          const double jumped = score[bin - 1 - lost][from] - kJumpCost;
          if (jumped <= best) continue;
          best = jumped;
          came_from[bin][lane] = from;
        }
        score[bin][lane] = best + match[lane][bin];
      }
    std::vector<int> path(bins, kLost);
    const auto& last = score.back();
    auto lane = static_cast<std::size_t>(std::max_element(last.begin(), last.end()) - last.begin());
    for (std::size_t end = bins; end > 0;) {
      const std::size_t from = came_from[end - 1][lane];
      path[--end] = static_cast<int>(lane);
      if (from != lane) end -= lost_between(candidates[from], candidates[lane]);
      lane = from;
    }
    return path;
  }

  /// Joins lanes that alternate, and cuts the ends so that nothing overlaps on either side.
  std::vector<Lane> tidy(std::vector<Lane> lanes) const {
    for (std::size_t i = 0; i + 2 < lanes.size();) {
      if (std::abs(lanes[i].lag_s - lanes[i + 2].lag_s) < kOneLane_s) {
        lanes[i].to_s = lanes[i + 2].to_s;
        lanes.erase(lanes.begin() + static_cast<std::ptrdiff_t>(i) + 1,
                    lanes.begin() + static_cast<std::ptrdiff_t>(i) + 3);
        i = i > 0 ? i - 1 : 0;
      } else {
        ++i;
      }
    }
    lanes.front().from_s = 0.0;
    lanes.back().to_s = length_s_;
    for (std::size_t i = 0; i + 1 < lanes.size(); ++i) {
      Lane& before = lanes[i];
      Lane& after = lanes[i + 1];
      if (after.from_s < before.to_s)
        before.to_s = after.from_s = 0.5 * (before.to_s + after.from_s);
    }
    std::vector<Lane> kept;
    for (Lane lane : lanes) {
      lane.from_s = std::clamp(lane.from_s, 0.0, length_s_);
      lane.to_s = std::clamp(lane.to_s, 0.0, length_s_);
      if (!kept.empty()) lane.from_s = std::max(lane.from_s, kept.back().to_s);
      if (lane.to_s - lane.from_s > 1.0) kept.push_back(lane);
    }
    if (kept.empty())
      kept.push_back({lanes.front().lag_s, 0.0, length_s_, lanes.front().strongest});
    kept.front().from_s = 0.0;
    kept.back().to_s = length_s_;
    return kept;
  }

  const OnsetFeatures& reference_;
  const OnsetFeatures& track_;
  double drift_;
  double length_s_;
  std::size_t bins_;
};

}  // namespace

std::vector<Lane> find_lanes(const OnsetFeatures& reference, const OnsetFeatures& track,
                             const FirstMap& map, double length_s) {
  const std::vector<Candidate> candidates = candidates_of(map);
  if (candidates.size() == 1)
    return {{candidates.front().lag_s, 0.0, length_s, candidates.front().strongest}};
  return LaneFinder(reference, track, map, length_s).find(candidates);
}

std::vector<double> lags_beside(const OnsetFeatures& reference, const OnsetFeatures& track,
                                const FirstMap& map, const std::vector<Lane>& lanes,
                                double reach_s) {
  const LaneFinder finder(reference, track, map, 0.0);
  const auto near_a_lane = [&](double lag_s, double away_s) {
    return std::any_of(lanes.begin(), lanes.end(),
                       [&](const Lane& lane) { return std::abs(lane.lag_s - lag_s) < away_s; });
  };
  std::vector<double> chance_lags_s;
  for (const double away_s : kChanceLags_s) chance_lags_s.push_back(lanes.front().lag_s + away_s);
  double chance = 0.0;
  for (const double m : finder.match(chance_lags_s)) chance += m * m;
  chance = std::sqrt(chance / std::size(kChanceLags_s));
  double strongest = 0.0;
  std::vector<Candidate> beside;
  for (const Lane& lane : lanes) {
    constexpr double kStep_s = 2.0 / kFeatureRateHz;  // the reference is smeared by as much
    const int steps = static_cast<int>(reach_s / kStep_s);
    std::vector<double> lags_s;
    for (int i = -steps; i <= steps; ++i) lags_s.push_back(lane.lag_s + i * kStep_s);
    const std::vector<double> match = finder.match(lags_s);
    const double here = match[static_cast<std::size_t>(steps)];
    strongest = std::max(strongest, here);
    // Lanes so close may be one track's own voice and another's.
    const bool rivals = std::any_of(lanes.begin(), lanes.end(), [&](const Lane& other) {
      const double away_s = std::abs(other.lag_s - lane.lag_s);
      return away_s > kOneLane_s && away_s < reach_s;
    });
    if (rivals) beside.push_back({lane.lag_s, here, 0.0});
    for (std::size_t i = 1; i + 1 < match.size(); ++i) {
      const double lag_s = lags_s[i];
      if (match[i] > match[i - 1] && match[i] >= match[i + 1] && !near_a_lane(lag_s, kOneLane_s))
        beside.push_back({lag_s, match[i], 0.0});
    }
  }
  std::stable_sort(beside.begin(), beside.end(),
                   [](const Candidate& a, const Candidate& b) { return a.square > b.square; });
  std::vector<double> lags;
  for (const Candidate& candidate : beside) {
    if (candidate.square < std::max(kBesideChance * chance, kBesideShare * strongest)) break;
    const bool known = std::any_of(lags.begin(), lags.end(), [&](double lag_s) {
      return std::abs(lag_s - candidate.lag_s) < kOneLane_s;
    });
    if (!known) lags.push_back(candidate.lag_s);
    if (lags.size() == kMostBeside) break;
  }
  return lags;
}

}  // namespace kilter::sync
