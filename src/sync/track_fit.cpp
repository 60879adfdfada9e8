#include "track_fit.h"

#include <algorithm>
#include <array>
#include <numeric>
#include <utility>

#include "kilter/base/median.h"
#include "kilter/sync/levels.h"
#include "shared_slope.h"

namespace kilter::sync {
namespace {

constexpr double kDisagreement_s = 100e-6;  // standard error where the phases' coherence is 0.45
constexpr double kNearSlope = 10e-6;        // to a slope that windows share
constexpr double kWellHeld = 0.6;           // of the evidence on a line: it needs no other slope
constexpr double kNeighbours_s = 0.024;     // twice a voice's way across a room
constexpr double kClearCoherence = 0.6;
constexpr double kClearRival = 0.5;
constexpr double kSharp_s = 40e-6;  // a window sharper than this has nearly all the say there is
constexpr double kPlainStray_sigma = 14.0;
constexpr double kVague = 0.3;  // of the say of a clear window
constexpr double kBoundarySay = 0.4;
constexpr double kLevelAgreement_s = 100e-6;

// A network stream that drops or repeats a pitch period instead of drifting.
constexpr double kLongestSplice_s = 0.020;
constexpr double kSpliceSpread = 2.0;  // the longest over the shortest
constexpr double kSpliceJitter_s = 0.2e-3;
constexpr double kSpliceSlew = 20e-6;  // and for every second in which the splice may lie
// How much better a standing clock with steps must fit than a drifting one.
constexpr double kSplicesLikely = 1.5;
constexpr double kSplicesClear = 1.15;  // where it has many levels
constexpr int kManySplices = 4;
constexpr double kStandingRate = 2e-6;  // between splices it does not drift at all

double say_of(const Measured& m) {
  const double ratio = m.sigma_s / kSharp_s;
  const double sharp = 1.0 / (1.0 + ratio * ratio);
  // A stray stands alone where a seam left no room for more: its height must speak for it.
  if (m.piece >= kScoutLanes)
    return sharp * std::clamp(m.reading.peak_sigma / kPlainStray_sigma, 0.5, 2.0);
  return (is_clear(m.reading) ? 1.0 : kVague) * sharp;
}

std::vector<Observation> observations_of(const TrackState& state, int piece) {
  std::vector<Observation> observations;
  for (const Measured& m : state.measured)
    if (m.piece == piece) observations.push_back({m.at_s, m.mix_s - m.at_s, m.sigma_s});
  return observations;
}

/// A line of about this slope.
LineFit fit_near_slope(std::vector<Observation> observations, double slope,
                       const LineFitOptions& options) {
  for (Observation& o : observations) o.offset_s -= slope * o.line_s;
  LineFitOptions near = options;
  near.max_slope = kNearSlope;
  LineFit fit = fit_line(observations, near);
  fit.offset_s += slope * fit.middle_s;
  fit.slope += slope;
  return fit;
}

/// Whether a line that holds little may have followed neighbours' voices away from this slope: by
/// no more than these may be off.
bool follows_neighbours(const LineFit& fit, const std::vector<Observation>& observations,
                        double slope) {
  if (!fit.found || fit.used_share > kWellHeld) return false;
  const double length_s = observations.back().line_s - observations.front().line_s;
  const double off = std::abs(fit.slope - slope);
  return off > kNearSlope && off * length_s < kNeighbours_s;
}

void set_weights(TrackState& state, int piece, const LineFit& fit) {
  std::size_t at = 0;
  for (std::size_t i = 0; i < state.measured.size(); ++i)
    if (state.measured[i].piece == piece) state.weights[i] = fit.weights[at++];
}

/// The levels that the windows stand on round a line of this rate.
struct Chain {
  std::vector<LevelPoint> points;
  std::vector<int> levels;
  double score{0.0};
};

int level_count(const Chain& chain) {
  return chain.levels.empty() ? 0 : *std::max_element(chain.levels.begin(), chain.levels.end()) + 1;
}

Chain chain_at(const TrackState& state, double rate) {
  const LevelOptions options;
  Chain chain;
  for (const Measured& m : state.measured)
    chain.points.push_back({m.at_s, m.mix_s - (state.curve.start_s.front() + rate * m.track_s),
                            m.sigma_s, say_of(m), m.piece});
  chain.levels = find_levels(chain.points, options);
  int last = 0;
  for (std::size_t i = 0; i < chain.points.size(); ++i) {
    if (chain.levels[i] < 0) continue;
    chain.score += chain.points[i].say;
    last = chain.levels[i];
  }
  chain.score -= options.jump_cost * last;
  return chain;
}

}  // namespace

bool goes_in_stairs(const TrackState& state) {
  if (state.steps.size() < 2) return false;
  double least_s = 1e9;
  double most_s = 0.0;
  for (const Step& step : state.steps) {
    if ((step.step_s > 0.0) != (state.steps.front().step_s > 0.0)) return false;
    least_s = std::min(least_s, std::abs(step.step_s));
    most_s = std::max(most_s, std::abs(step.step_s));
  }
  return most_s <= kLongestSplice_s && most_s <= kSpliceSpread * least_s &&
         std::abs(state.curve.rate - 1.0) < kStandingRate + 4.0 * state.fit.rate_sigma;
}

void flatten_staircase(TrackState& state) {
  double splice_s = 0.0;
  std::vector<Pairing> middles;
  for (const Step& step : state.steps) {
    splice_s += std::abs(step.step_s) / static_cast<double>(state.steps.size());
    const double mix_s = 0.5 * (step.mix_from_s + step.mix_to_s);
    const auto level = static_cast<std::size_t>(step.level);
    const double middle_s = 0.5 * (state.curve.start_s[level] + state.curve.start_s[level + 1]);
    middles.push_back({(mix_s - middle_s) / state.curve.rate, mix_s,
                       kSpliceJitter_s + kSpliceSlew * (step.mix_to_s - step.mix_from_s), 0});
  }
  ClockCurve line;
  line.start_s = {state.curve.start_s.front()};
  line.rate = state.curve.rate;
  const ClockFit fit =
      fit_clock(middles, line, {.max_slope = 300e-6, .gate_s = 1.0, .may_bend = false});
  if (!fit.found) return;
  state.splice_s = splice_s;
  state.splices = static_cast<int>(state.steps.size());
  state.steps.clear();
  state.fit = fit;
  state.curve = fit.curve;
  weigh_by_splice(state);
}

double trusted_sigma_s(const Reading& reading) {
  const double disagreement = 1.0 / (reading.coherence * reading.coherence) - 4.0;
  const double ambiguity = std::max(0.0, 2.0 * reading.rival - 1.0);
  return std::hypot(reading.sigma_s, kDisagreement_s * std::max(0.0, disagreement)) /
         std::max(0.05, 1.0 - ambiguity);
}

void weigh_by_splice(TrackState& state) {
  state.weights.assign(state.measured.size(), 0.0);
  for (std::size_t i = 0; i < state.measured.size(); ++i) {
    const Measured& m = state.measured[i];
    const double away_s = m.mix_s - state.curve.line_s(0, m.track_s);
    if (std::abs(away_s) < 0.75 * state.splice_s) state.weights[i] = 1.0;
  }
}

bool is_clear(const Reading& reading) {
  return reading.coherence >= kClearCoherence && reading.rival <= kClearRival;
}

void count_support(TrackState& state) {
  state.used = 0;
  double held = 0.0;
  double all = 0.0;
  for (std::size_t i = 0; i < state.measured.size(); ++i) {
    const double sigma_s = state.measured[i].sigma_s;
    const double say = 1.0 / (kLevelAgreement_s * kLevelAgreement_s + sigma_s * sigma_s);
    all += say;
    if (state.weights[i] <= 0.1) continue;
    ++state.used;
    held += say;
  }
  state.used_share = all > 0.0 ? held / all : 0.0;
}

void fit_coarsely(TrackState& state, const LineFitOptions& options) {
  state.weights.assign(state.measured.size(), 0.0);
  const int pieces = static_cast<int>(state.pieces.size());
  std::vector<std::vector<Observation>> observations;
  for (int piece = 0; piece < pieces; ++piece)
    observations.push_back(observations_of(state, piece));
  const auto shared = shared_slope(observations, options.max_slope);
  std::vector<LineFit> fits;
  int best = -1;
  const auto support = [&](const LineFit& fit) {
    const bool fits_in = !shared || std::abs(fit.slope - *shared) <= kNearSlope;
    return std::pair(fits_in, fit.used * fit.used_share);
  };
  for (int piece = 0; piece < pieces; ++piece) {
    const auto& own = observations[static_cast<std::size_t>(piece)];
    fits.push_back(fit_line(own, options));
    if (shared && follows_neighbours(fits.back(), own, *shared))
      fits.back() = fit_near_slope(own, *shared, options);
    if (fits.back().found &&
        (best < 0 || support(fits.back()) > support(fits[static_cast<std::size_t>(best)])))
      best = piece;
  }
  if (best < 0) {
    count_support(state);
    return;
  }
  const LineFit& main = fits[static_cast<std::size_t>(best)];
  set_weights(state, best, main);
  const ClockCurve before = state.curve;
  state.curve.rate *= 1.0 + main.slope;
  for (int piece = 0; piece < pieces; ++piece) {
    const auto level =
        static_cast<std::size_t>(state.pieces[static_cast<std::size_t>(piece)].level);
    double offset_s = main.at(before.start_s[level]);
    if (piece != best) {
      std::vector<Observation> rest = observations[static_cast<std::size_t>(piece)];
      for (Observation& o : rest) o.offset_s -= main.at(o.line_s);
      LineFitOptions level_only = options;
      level_only.max_slope = 1e-7;
      const LineFit fit = fit_line(rest, level_only);
      if (fit.found) {
        set_weights(state, piece, fit);
        offset_s += fit.offset_s;
      }
    }
    state.curve.start_s[level] = before.start_s[level] + offset_s;
  }
  count_support(state);
}

bool fit_levels(TrackState& state) {
  state.steps.clear();
  state.weights.assign(state.measured.size(), 0.0);
  Chain chain = chain_at(state, state.curve.rate);
  // A stream that is spliced instead of drifting stands still between splices, whatever the mean.
  Chain standing = chain_at(state, 1.0);
  const bool many = level_count(standing) >= kManySplices;
  if (standing.score > (many ? kSplicesClear : kSplicesLikely) * chain.score) {
    chain = std::move(standing);
    state.curve.rate = 1.0;
  }
  const std::vector<LevelPoint>& points = chain.points;
  const std::vector<int>& levels = chain.levels;
  const int count = level_count(chain);
  if (count == 0) {
    count_support(state);
    return false;
  }
  std::vector<Pairing> pairings;
  std::vector<std::vector<double>> offsets(static_cast<std::size_t>(count));
  std::vector<Step> ends(static_cast<std::size_t>(count));
  std::vector<double> reached(static_cast<std::size_t>(count), 0.0);
  for (std::size_t i = 0; i < points.size(); ++i) {
    const Measured& m = state.measured[i];
    pairings.push_back({m.track_s, m.mix_s, m.sigma_s, levels[i]});
    if (levels[i] < 0) continue;
    const auto level = static_cast<std::size_t>(levels[i]);
    offsets[level].push_back(points[i].offset_s);
    // A vague window may lie on a level by chance: it does not say how far the level reaches.
    const bool known = reached[level] >= kBoundarySay;
    if (known && points[i].say < kBoundarySay) continue;
    if (!known) ends[level].mix_from_s = m.at_s;
    ends[level].mix_to_s = m.at_s;
    reached[level] = std::max(reached[level], points[i].say);
  }
  ClockCurve curve;
  curve.rate = state.curve.rate;
  curve.start_s.clear();
  for (auto& of_level : offsets)
    curve.start_s.push_back(state.curve.start_s.front() + median(std::move(of_level)));
  const ClockFit fit = fit_clock(pairings, curve, {.max_slope = 20e-6, .gate_s = 0.25e-3});
  if (!fit.found) {
    count_support(state);
    return false;
  }
  state.fit = fit;
  state.curve = fit.curve;
  state.weights = fit.weights;
  for (int level = 0; level + 1 < count; ++level) {
    const auto at = static_cast<std::size_t>(level);
    state.steps.push_back({ends[at].mix_to_s, ends[at + 1].mix_from_s,
                           state.curve.start_s[at + 1] - state.curve.start_s[at], level});
  }
  return true;
}

void cut_half_way(TrackState& state) {
  state.pieces.clear();
  double from_s = 0.0;
  for (std::size_t i = 0; i <= state.steps.size(); ++i) {
    const int level = static_cast<int>(i);
    double to_s = state.length_s;
    double next_s = to_s;
    if (i < state.steps.size()) {
      const Step& step = state.steps[i];
      const double middle_s = 0.5 * (step.mix_from_s + step.mix_to_s);
      const auto track_at = [&](double mix_s, std::size_t of) {
        return (mix_s - state.curve.start_s[of]) / state.curve.rate;
      };
      to_s = track_at(middle_s - std::max(0.0, 0.5 * step.step_s), i);
      next_s = std::max(to_s, track_at(middle_s + std::max(0.0, 0.5 * step.step_s), i + 1));
    }
    state.pieces.push_back({from_s, std::clamp(to_s, from_s, state.length_s), level});
    from_s = std::clamp(next_s, from_s, state.length_s);
  }
  count_support(state);
}

void start_behind(const Span& before, Span& span) {
  if (!(span.from_s < span.to_s && span.line_from_s < span.line_to_s)) return;
  const double rate = span.rate();
  const double late_s =
      std::max(before.to_s - span.from_s, (before.line_to_s - span.line_from_s) / rate);
  if (late_s <= 0.0) return;
  // At least where the other ends, whatever the rounding.
  span.from_s = std::max(span.from_s + late_s, before.to_s);
  span.line_from_s = std::max(span.line_from_s + late_s * rate, before.line_to_s);
}

void make_map(TrackState& state, const std::vector<Span>& mix_spans) {
  state.map.reset();
  std::vector<Span> spans;
  for (const Span& piece : spans_of(state, [](int, double) { return 0.0; }))
    for (const Span& mix : mix_spans) {
      // The mix's clock is the timeline's: both run alike inside a span.
      const double from_s = std::max(piece.line_from_s, mix.line_from_s);
      const double to_s = std::min(piece.line_to_s, mix.line_to_s);
      const bool first = &mix == &mix_spans.front();
      const bool last = &mix == &mix_spans.back();
      // Beyond the mix's ends the track's clock runs on.
      const double begin_s = first ? piece.line_from_s : from_s;
      const double end_s = last ? piece.line_to_s : to_s;
      if (!(begin_s < end_s)) continue;
      const double shift_s = mix.from_s - mix.line_from_s;
      const double per_line = (piece.to_s - piece.from_s) / (piece.line_to_s - piece.line_from_s);
      Span span{piece.from_s + (begin_s - piece.line_from_s) * per_line,
                end_s == piece.line_to_s ? piece.to_s
                                         : piece.from_s + (end_s - piece.line_from_s) * per_line,
                begin_s + shift_s, end_s + shift_s, 0.0};
      if (!spans.empty()) start_behind(spans.back(), span);
      if (span.from_s < span.to_s && span.line_from_s < span.line_to_s) spans.push_back(span);
    }
  auto made = TimeMap::make(std::move(spans));
  state.placed = static_cast<bool>(made);
  if (made) state.map = *std::move(made);
}

}  // namespace kilter::sync
