#include "kilter/sync/no_mix.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "feature_shelf.h"
#include "finding_texts.h"
#include "joint_frames.h"
#include "judgement.h"
#include "kilter/base/parallel.h"
#include "kilter/signal/onset_features.h"
#include "kilter/sync/first_map.h"
#include "kilter/sync/lanes.h"
#include "kilter/sync/line_fit.h"
#include "kilter/sync/talk_levels.h"
#include "kilter/sync/window_meter.h"

namespace kilter::sync {
namespace {

constexpr double kLinkSigma = 12.0;
constexpr double kLinkRatio = 1.6;  // above the best line elsewhere
constexpr double kWindow_s = 3.0;
constexpr int kMostWindows = 80;
constexpr double kStep_s = 0.5;  // between the windows to choose from
constexpr double kAlone_db = 3.0;
constexpr double kSearch_s = 0.025;  // a first map, and the way through the air
constexpr int kRounds = 2;
constexpr int kLeastUsed = 3;
constexpr double kLeastShare = 0.4;
constexpr double kUnequal_us = 2500.0;  // half of what two ways may differ by in a room
constexpr double kOneWay_us = 500e3;    // a network's way, and a loudspeaker's
constexpr double kUnheard_us = 1e6;

/// timeline = start + rate * track.
struct Line {
  double start_s{0.0};
  double rate{1.0};

  Line then(const Line& next) const {
    return {next.start_s + next.rate * start_s, next.rate * rate};
  }
  Line inverse() const { return {-start_s / rate, 1.0 / rate}; }
};

/// An edge of the graph of who hears whom, from the first maps.
struct Link {
  std::size_t a{0};
  std::size_t b{0};
  Line b_to_a;
  double sigma{0.0};
  double step_s{0.0};     // by how much parts of `b` lie apart against `a`, at most
  double step_at_s{0.0};  // where, of `b`
  double step_in_a_s{0.0};
};

/// `a` as it is heard in `b`: late by `offset_s + slope * (line_s - middle_s)`.
struct Heard {
  bool found{false};
  LineFit fit;
};

class Placer {
 public:
  Placer(const std::vector<TrackInput>& tracks, const AlignOptions& options)
      : tracks_(tracks), options_(options), n_(tracks.size()), lines_(tracks.size()) {}

  Result<NoMixPlacing> run() {
    result_.tracks.resize(n_);
    if (auto done = find_links(); !done) return done.error();
    choose_clock();
    if (result_.clock < 0) return result_;
    spread_from_clock();
    std::vector<const AnalysisSignal*> signals;
    signals.reserve(n_);
    for (const TrackInput& track : tracks_) signals.push_back(track.signal);
    auto levels = TalkLevels::measure(signals, options_.threads, options_.stop);
    if (!levels) return levels.error();
    levels_ = *std::move(levels);
    for (int round = 0; round < kRounds; ++round) {
      make_maps();
      if (auto done = listen(); !done) return done.error();
      correct();
    }
    move_clock();
    make_maps();
    judge();
    return std::move(result_);
  }

 private:
  bool stopped() const { return options_.stop != nullptr && options_.stop->load(); }
  static Error interrupted() { return {ErrorKind::interrupted, {}, "interrupted", ""}; }

  template <typename Work>
  Result<void> each(std::size_t count, Work&& work) {
    std::vector<std::optional<Error>> errors(count);
    parallel_for(static_cast<int>(count), options_.threads, [&](int i) {
      if (stopped()) return;
      const auto at = static_cast<std::size_t>(i);
      if (auto done = work(at); !done) errors[at] = done.error();
    });
    for (const auto& error : errors)
      if (error) return *error;
    if (stopped()) return interrupted();
    return {};
  }

  Result<void> find_links() {
    const auto features = FeatureShelf::of(tracks_, options_);
    if (!features) return features.error();
    for (std::size_t b = 0; b < n_; ++b)
      for (std::size_t a = 0; a < b; ++a) links_.push_back({a, b, {}, 0.0});
    if (auto done = each(links_.size(),
                         [&](std::size_t i) -> Result<void> {
                           Link& link = links_[i];
                           const auto a = (*features)->get(link.a);
                           if (!a) return a.error();
                           const auto b = (*features)->get(link.b);
                           if (!b) return b.error();
                           const FirstMap map = first_map(**a, **b, options_.stop);
                           if (map.match_sigma < kLinkSigma) return {};
                           const auto lanes = find_lanes(**a, **b, map, tracks_[link.b].length_s);
                           // The rival of a track with a step is its other part.
                           if (map.match_sigma < kLinkRatio * map.rival_sigma && lanes.size() == 1)
                             return {};
                           link.sigma = map.match_sigma;
                           link.b_to_a = {map.lag_s, 1.0 - map.drift_ppm * 1e-6};
                           find_step(lanes, link);
                           return {};
                         });
        !done)
      return done.error();
    std::erase_if(links_, [](const Link& link) { return link.sigma <= 0.0; });
    std::stable_sort(links_.begin(), links_.end(),
                     [](const Link& x, const Link& y) { return x.sigma > y.sigma; });
    return {};
  }

  static void find_step(const std::vector<Lane>& lanes, Link& link) {
    for (std::size_t i = 1; i < lanes.size(); ++i) {
      const double step_s = std::abs(lanes[i].lag_s - lanes[i - 1].lag_s);
      if (step_s <= link.step_s) continue;
      link.step_s = step_s;
      link.step_at_s = lanes[i].from_s;
      link.step_in_a_s = lanes[i - 1].lag_s + lanes[i - 1].to_s * link.b_to_a.rate;
    }
  }

  /// The greatest step of a track against those that it is tied to, unless they show more steps
  /// than it does: then it is theirs.
  const Link* step_of(std::size_t track) const {
    std::vector<int> steps(n_, 0);
    for (const Link& link : links_)
      if (link.step_s > 0.0)
        for (const std::size_t i : {link.a, link.b}) ++steps[i];
    const Link* most = nullptr;
    for (const Link& link : links_) {
      if (link.step_s <= 0.0 || (link.a != track && link.b != track)) continue;
      const std::size_t other = link.a == track ? link.b : link.a;
      if (steps[other] <= steps[track] && (most == nullptr || link.step_s > most->step_s))
        most = &link;
    }
    return most;
  }

  /// The track that hears most others; of two alike, the one that hears them better.
  void choose_clock() {
    std::vector<std::pair<int, double>> heard(n_, {0, 0.0});
    for (const Link& link : links_)
      for (const std::size_t i : {link.a, link.b}) {
        ++heard[i].first;
        heard[i].second += link.sigma;
      }
    const auto best = std::max_element(heard.begin(), heard.end());
    if (best != heard.end() && best->first > 0)
      result_.clock = static_cast<int>(best - heard.begin());
  }

  /// From the clock outwards, over the strongest link first.
  void spread_from_clock() {
    lines_[clock()] = Line{};
    for (bool grown = true; grown;) {
      grown = false;
      for (const Link& link : links_) {
        if (lines_[link.a].has_value() == lines_[link.b].has_value()) continue;
        if (lines_[link.a])
          lines_[link.b] = link.b_to_a.then(*lines_[link.a]);
        else
          lines_[link.a] = link.b_to_a.inverse().then(*lines_[link.b]);
        grown = true;
        break;
      }
    }
  }

  std::size_t clock() const { return static_cast<std::size_t>(result_.clock); }

  void make_maps() {
    maps_.assign(n_, std::nullopt);
    for (std::size_t i = 0; i < n_; ++i) {
      if (!lines_[i]) continue;
      const double length_s = std::max(tracks_[i].length_s, 1.0 / kAnalysisRateHz);
      const Line& line = *lines_[i];
      auto made =
          TimeMap::make({{0.0, length_s, line.start_s, line.start_s + line.rate * length_s, 0.0}});
      if (made) maps_[i] = *std::move(made);
    }
  }

  /// Windows in which `from` talks alone, spread over its length.
  std::vector<double> windows_of(std::size_t from) const {
    std::vector<const TimeMap*> maps;
    maps.reserve(n_);
    for (const auto& map : maps_) maps.push_back(map ? &*map : nullptr);
    const Span span = maps_[from]->spans()[0];
    const double length_s = span.line_to_s - span.line_from_s;
    // One window in each stretch of equal length: where he is most alone.
    const int stretches =
        std::clamp(static_cast<int>(length_s / (kWindow_s / 2.0)), 1, kMostWindows);
    const double stretch_s = length_s / stretches;
    const int places = std::max(1, static_cast<int>(stretch_s / kStep_s));
    std::vector<double> windows;
    for (int i = 0; i < stretches; ++i) {
      std::optional<double> best_s;
      double best_db = kAlone_db;
      for (int place = 0; place < places; ++place) {
        const double middle_s = span.line_from_s + i * stretch_s + place * kStep_s;
        // All three seconds of the window must be his.
        double least_db = 1e3;
        for (const double beside_s : {-1.0, 0.0, 1.0})
          least_db =
              std::min(least_db, levels_.alone_db(maps, from, middle_s + beside_s).value_or(-1e3));
        if (least_db < best_db) continue;
        best_db = least_db;
        best_s = middle_s;
      }
      if (best_s && (windows.empty() || *best_s > windows.back() + kStep_s))
        windows.push_back(*best_s);
    }
    return windows;
  }

  /// Where every track is heard in every other.
  Result<void> listen() {
    heard_.assign(n_ * n_, {});
    return each(n_, [&](std::size_t from) -> Result<void> {
      if (!maps_[from]) return {};
      const std::vector<double> windows = windows_of(from);
      WindowMeter meter({.search_s = kSearch_s, .joint = false});
      for (std::size_t in = 0; in < n_; ++in) {
        if (in == from || !maps_[in]) continue;
        std::vector<Observation> observations;
        for (const double line_s : windows) {
          if (stopped()) return {};
          const auto map = on_clock_of(*maps_[in], *maps_[from], line_s, kWindow_s, 0.0);
          const auto in_s = maps_[in]->to_track(line_s);
          if (!map || !in_s) continue;
          auto readings = meter.measure(*tracks_[in].signal, {{tracks_[from].signal, &*map}},
                                        *in_s - 0.5 * kWindow_s, kWindow_s);
          if (!readings) return readings.error();
          const Reading& reading = readings->front();
          if (reading.heard) observations.push_back({line_s, reading.offset_s, reading.sigma_s});
        }
        Heard& heard = heard_[from * n_ + in];
        heard.fit = fit_line(observations,
                             {.max_slope = 60e-6, .cluster_s = 0.4e-3, .sigma_floor_s = 20e-6});
        heard.found =
            heard.fit.found && heard.fit.used >= kLeastUsed && heard.fit.used_share >= kLeastShare;
      }
      return {};
    });
  }

  /// What a pair says of how much later `a` lies than its map, less the same of `b`.
  struct Difference {
    std::size_t a{0};
    std::size_t b{0};
    double middle_s{0.0};
    double offset_s{0.0};
    double slope{0.0};
    double offset_weight{0.0};
    double slope_weight{0.0};
    double acoustic_s{0.0};
  };

  std::optional<Difference> difference(std::size_t a, std::size_t b) const {
    const Heard& there = heard_[a * n_ + b];
    const Heard& back = heard_[b * n_ + a];
    if (!there.found || !back.found) return std::nullopt;
    // The air adds to both ways, the clocks' difference changes its sign.
    const double slope_there = 1.0 / (there.fit.slope_sigma * there.fit.slope_sigma);
    const double slope_back = 1.0 / (back.fit.slope_sigma * back.fit.slope_sigma);
    Difference result{a, b, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0};
    result.middle_s = 0.5 * (there.fit.middle_s + back.fit.middle_s);
    result.slope =
        (there.fit.slope * slope_there - back.fit.slope * slope_back) / (slope_there + slope_back);
    result.slope_weight = slope_there + slope_back;
    // Each at its own middle, where it is known best, carried over by the common slope.
    const double late_there =
        there.fit.offset_s + result.slope * (result.middle_s - there.fit.middle_s);
    const double late_back =
        back.fit.offset_s - result.slope * (result.middle_s - back.fit.middle_s);
    result.offset_s = 0.5 * (late_there - late_back);
    result.acoustic_s = 0.5 * (late_there + late_back);
    const double sigma_s = 0.5 * std::hypot(there.fit.offset_sigma_s, back.fit.offset_sigma_s);
    result.offset_weight = 1.0 / (sigma_s * sigma_s + kPairFloor_s * kPairFloor_s);
    return result;
  }

  /// Moves every track so that all pairs agree best, the clock kept where it is.
  void correct() {
    differences_.clear();
    for (std::size_t b = 0; b < n_; ++b)
      for (std::size_t a = 0; a < b; ++a)
        if (const auto pair = difference(a, b)) differences_.push_back(*pair);
    const std::vector<double> slopes = settle([](const Difference& pair) {
      return std::pair{pair.slope, pair.slope_weight};
    });
    // Offsets at timeline second 0, slopes taken out.
    const std::vector<double> offsets = settle([&](const Difference& pair) {
      return std::pair{pair.offset_s - (slopes[pair.a] - slopes[pair.b]) * pair.middle_s,
                       pair.offset_weight};
    });
    closure_s_.clear();
    for (const Difference& pair : differences_)
      closure_s_.push_back(std::abs(pair.offset_s - (offsets[pair.a] - offsets[pair.b]) -
                                    (slopes[pair.a] - slopes[pair.b]) * pair.middle_s));
    for (std::size_t i = 0; i < n_; ++i) {
      if (!lines_[i]) continue;
      Line& line = *lines_[i];
      line.start_s += offsets[i] + slopes[i] * line.start_s;
      line.rate *= 1.0 + slopes[i];
    }
  }

  /// Least squares for x with x[a] - x[b] = value of every pair and x[clock] = 0, by relaxation:
  /// few tracks, and each sweep is exact for one of them.
  template <typename Value>
  std::vector<double> settle(Value&& value) const {
    std::vector<double> x(n_, 0.0);
    for (int sweep = 0; sweep < 2000; ++sweep) {
      double moved = 0.0;
      for (std::size_t i = 0; i < n_; ++i) {
        if (i == clock()) continue;
        double sum = 0.0;
        double weights = 0.0;
        for (const Difference& pair : differences_) {
          if (pair.a != i && pair.b != i) continue;
          const auto [difference, weight] = value(pair);
          sum += weight * (pair.a == i ? x[pair.b] + difference : x[pair.a] - difference);
          weights += weight;
        }
        if (weights <= 0.0) continue;
        moved = std::max(moved, std::abs(sum / weights - x[i]));
        x[i] = sum / weights;
      }
      if (moved < 1e-15) break;
    }
    return x;
  }

  /// Tracks that are tied by pairs of which each hears the other, by the least index among them.
  std::vector<std::size_t> groups_both_ways() const {
    std::vector<std::size_t> groups(n_);
    for (std::size_t i = 0; i < n_; ++i) groups[i] = i;
    for (std::size_t round = 0; round < n_; ++round)
      for (const Difference& pair : differences_)
        groups[pair.a] = groups[pair.b] = std::min(groups[pair.a], groups[pair.b]);
    return groups;
  }

  /// To the most tracks that are tied both ways: theirs are the places that can be known.
  void move_clock() {
    const std::vector<std::size_t> groups = groups_both_ways();
    const auto size_of = [&](std::size_t i) {
      return std::count(groups.begin(), groups.end(), groups[i]);
    };
    std::size_t best = clock();
    for (std::size_t i = 0; i < n_; ++i)
      if (lines_[i] && size_of(i) > size_of(best)) best = i;
    if (best == clock()) return;
    const Line back = lines_[best]->inverse();
    for (auto& line : lines_)
      if (line) line = line->then(back);
    lines_[best] = Line{};  // not off by a rounding
    result_.clock = static_cast<int>(best);
  }

  void judge() {
    std::vector<int> both_ways(n_, 0);
    std::vector<double> worst_s(n_, 0.0);
    for (std::size_t p = 0; p < differences_.size(); ++p) {
      const Difference& pair = differences_[p];
      result_.pairs.push_back({pair.a, pair.b, true, pair.acoustic_s, closure_s_[p]});
      for (const std::size_t i : {pair.a, pair.b}) {
        ++both_ways[i];
        worst_s[i] = std::max(worst_s[i], closure_s_[p]);
      }
    }
    const std::vector<std::size_t> groups = groups_both_ways();
    // The others are laid on the clock's own time: where that steps, they are off by as much.
    const Link* clocks_step = step_of(clock());
    for (std::size_t a = 0; a < n_; ++a)
      for (std::size_t b = 0; b < n_; ++b)
        if (heard_[a * n_ + b].found && !heard_[b * n_ + a].found)
          result_.pairs.push_back({a, b, false, 0.0, 0.0});
    for (std::size_t i = 0; i < n_; ++i) {
      if (!maps_[i]) continue;
      TrackPlacing& placing = result_.tracks[i];
      placing.remote = both_ways[i] == 0;
      // Only where each hears the other does the way between them cancel, all along to the clock.
      double bound_us = std::hypot(kUnequal_us, 2e6 * worst_s[i]);
      if (groups[i] != groups[clock()]) bound_us = heard_one_way(i) ? kOneWay_us : kUnheard_us;
      placing.standing = Standing::shaky;
      if (clocks_step != nullptr) bound_us += 1e6 * clocks_step->step_s;
      if (const Link* step = step_of(i)) {
        bound_us += 1e6 * step->step_s;
        placing.findings.push_back(
            step_without_mix_finding(step->b == i ? step->step_at_s : step->step_in_a_s));
      }
      if (placing.remote) tell_leak(i, placing);
      if (i == clock()) {  // its own time is the timeline
        bound_us = 0.0;
        placing.standing = Standing::firm;
      }
      placing.uncertainty_us = bound_us;
      Span span = maps_[i]->spans()[0];
      span.uncertainty_us = bound_us;
      if (auto made = TimeMap::make({span})) placing.map = *std::move(made);
      for (std::size_t other = 0; other < n_; ++other) {
        const Heard& heard = heard_[i * n_ + other];
        placing.windows_measured += static_cast<int>(heard.fit.weights.size());
        placing.windows_used += heard.found ? heard.fit.used : 0;
      }
      for (const Link& link : links_)
        if (link.a == i || link.b == i)
          placing.match_sigma = std::max(placing.match_sigma, link.sigma);
    }
  }

  /// Who hears others and is heard by none sat elsewhere: what he holds came out of a loudspeaker.
  void tell_leak(std::size_t holder, TrackPlacing& placing) const {
    std::vector<std::string> sources;
    for (std::size_t from = 0; from < n_; ++from)
      if (from != holder && heard_[from * n_ + holder].found) sources.push_back(tracks_[from].name);
    if (!sources.empty()) placing.findings.push_back(leak_without_mix_finding(sources));
  }

  bool heard_one_way(std::size_t i) const {
    for (std::size_t other = 0; other < n_; ++other)
      if (heard_[i * n_ + other].found || heard_[other * n_ + i].found) return true;
    return false;
  }

  static constexpr double kPairFloor_s = 20e-6;

  const std::vector<TrackInput>& tracks_;
  const AlignOptions& options_;
  std::size_t n_;
  std::vector<Link> links_;
  std::vector<std::optional<Line>> lines_;
  std::vector<std::optional<TimeMap>> maps_;
  TalkLevels levels_;
  std::vector<Heard> heard_;  // source * n_ + where it is heard
  std::vector<Difference> differences_;
  std::vector<double> closure_s_;
  NoMixPlacing result_;
};

}  // namespace

Result<NoMixPlacing> place_without_mix(const std::vector<TrackInput>& tracks,
                                       const AlignOptions& options) {
  return Placer(tracks, options).run();
}

}  // namespace kilter::sync
