#include "recorder_fit.h"

#include <algorithm>
#include <cmath>

#include "mix_timeline.h"
#include "normal_equations.h"
#include "recorders.h"
#include "track_fit.h"

namespace kilter::sync {
namespace {

constexpr int kMixStepRounds = 6;
constexpr double kFitGate_s = 0.12e-3;
constexpr double kAtSeam_s = 5.0;  // so near, a window may reach over it
constexpr double kOutlying_s = 50e-6;
constexpr double kLikelyStep_s = 1e-3;
constexpr double kLikelyRate = 10e-6;
constexpr double kSharpWindow_s = 20e-6;
constexpr double kOneLevel_s = 0.15e-3;
constexpr double kFarMore = 1.5;

/// The mix's seconds at its own seams.
std::vector<double> seconds_of_mix_seams(const std::vector<Seam>& seams) {
  std::vector<double> seconds;
  for (const Seam& seam : seams)
    if (seam.cause == SeamCause::mix) seconds.push_back(seam.place.mix_end_s);
  return seconds;
}

/// What is unknown where the mix steps: by how much, and what that has pulled every recorder's
/// levels and rate off by.
class MixStepUnknowns {
 public:
  MixStepUnknowns(std::vector<double> seams_s, const std::vector<TrackState>& states)
      : seams_s_(std::move(seams_s)) {
    count_ = seams_s_.size();
    for (const TrackState& state : states) {
      if (!state.placed || state.recorder < 0) continue;
      const auto recorder = static_cast<std::size_t>(state.recorder);
      if (first_.size() <= recorder) first_.resize(recorder + 1, 0);
      if (first_[recorder] != 0) continue;
      first_[recorder] = count_;
      count_ += state.curve.start_s.size() + 1;
    }
  }

  std::size_t count() const { return count_; }
  bool is_at_seam(double mix_s) const {
    return std::any_of(seams_s_.begin(), seams_s_.end(),
                       [&](double seam_s) { return std::abs(mix_s - seam_s) < kAtSeam_s; });
  }
  /// The share of every unknown in how far off a window is.
  void row(const TrackState& state, int level, double mix_s, std::vector<double>& out) const {
    out.assign(count_, 0.0);
    for (std::size_t s = 0; s < seams_s_.size(); ++s) out[s] = mix_s > seams_s_[s] ? 1.0 : 0.0;
    const std::size_t first = first_[static_cast<std::size_t>(state.recorder)];
    out[first] = mix_s - seams_s_.front();
    out[first + 1 + static_cast<std::size_t>(level)] = 1.0;
  }
  /// Keeps what no window tells as it is.
  void add_priors(NormalEquations& equations) const {
    std::vector<double> row(count_, 0.0);
    for (std::size_t i = 0; i < count_; ++i) {
      const bool is_rate = std::find(first_.begin(), first_.end(), i) != first_.end();
      const double likely = is_rate ? kLikelyRate : kLikelyStep_s;
      row[i] = 1.0;
      equations.add(row, 0.0, 1.0 / (likely * likely));
      row[i] = 0.0;
    }
  }

 private:
  std::vector<double> seams_s_;
  std::vector<std::size_t> first_;  // of each recorder, its rate; then its levels. Never 0
  std::size_t count_{0};
};

/// The sizes of the mix's own steps, from the windows of all tracks; together with the clocks,
/// which have taken up what is wrong of them.
void refine_mix_steps(double gate_s, double mix_length_s, const std::vector<TrackState>& states,
                      std::vector<Seam>& seams, std::vector<Span>& mix_spans) {
  const MixStepUnknowns unknowns(seconds_of_mix_seams(seams), states);
  NormalEquations equations(unknowns.count());
  std::vector<double> row;
  for (const TrackState& state : states) {
    if (!state.placed || state.recorder < 0) continue;
    for (const Measured& m : state.measured) {
      const int level = level_at(state, m.track_s);
      if (level < 0 || unknowns.is_at_seam(m.at_s)) continue;
      const double away_s = on_timeline_s(m, mix_spans) - state.curve.line_s(level, m.track_s);
      if (std::abs(away_s) > gate_s) continue;
      const double outlying = away_s / kOutlying_s;
      unknowns.row(state, level, m.at_s, row);
      equations.add(row, away_s,
                    1.0 / ((m.sigma_s * m.sigma_s + 4e-12) * (1.0 + outlying * outlying)));
    }
  }
  unknowns.add_priors(equations);
  if (!equations.solve()) return;
  std::size_t s = 0;
  for (Seam& seam : seams)
    if (seam.cause == SeamCause::mix) seam.step_s += equations.solution()[s++];
  mix_spans = mix_spans_of(seams, mix_length_s);
}

/// Where on one of a recorder's levels a window is heard.
struct OffLevel {
  double off_s{0.0};
  double say{0.0};
  std::size_t track{0};
};

std::vector<OffLevel> windows_on(int level, const std::vector<std::size_t>& members,
                                 const std::vector<Span>& mix_spans,
                                 const std::vector<TrackState>& states) {
  std::vector<OffLevel> windows;
  for (const std::size_t k : members)
    for (const Measured& m : states[k].measured) {
      if (!is_clear(m.reading) || level_at(states[k], m.track_s) != level) continue;
      const double off_s = on_timeline_s(m, mix_spans) - states[k].curve.line_s(level, m.track_s);
      const double blur = m.sigma_s / kSharpWindow_s;
      if (std::abs(off_s) < kNeighbour_s) windows.push_back({off_s, 1.0 / (1.0 + blur * blur), k});
    }
  std::sort(windows.begin(), windows.end(), [](const OffLevel& a, const OffLevel& b) {
    return std::pair(a.off_s, a.track) < std::pair(b.off_s, b.track);
  });
  return windows;
}

/// Where windows of several tracks agree, if by far more than agree with the level as it is.
double better_level_s(const std::vector<OffLevel>& windows) {
  double in_place = 0.0;
  double best = 0.0;
  double best_s = 0.0;
  for (std::size_t from = 0; from < windows.size(); ++from) {
    if (std::abs(windows[from].off_s) < kOneLevel_s) in_place += windows[from].say;
    double say = 0.0;
    double moment = 0.0;
    bool several = false;
    for (std::size_t i = from;
         i < windows.size() && windows[i].off_s < windows[from].off_s + kOneLevel_s; ++i) {
      say += windows[i].say;
      moment += windows[i].say * windows[i].off_s;
      several = several || windows[i].track != windows[from].track;
    }
    if (!several || say <= best) continue;
    best = say;
    best_s = moment / say;
  }
  return best > kFarMore * in_place ? best_s : 0.0;
}

}  // namespace

double on_timeline_s(const Measured& m, const std::vector<Span>& mix_spans) {
  return m.mix_s + to_timeline(mix_spans, m.at_s) - m.at_s;
}

int level_at(const TrackState& state, double track_s) {
  for (const Piece& piece : state.pieces)
    if (track_s >= piece.from_s && track_s <= piece.to_s) return piece.level;
  return -1;
}

void recentre_levels(const std::vector<Span>& mix_spans, std::vector<TrackState>& states) {
  for (const auto& members : members_of_recorders(states)) {
    if (members.size() < 2) continue;
    ClockCurve curve = states[members.front()].curve;
    if (curve.start_s.size() < 2) continue;
    for (std::size_t level = 0; level < curve.start_s.size(); ++level)
      curve.start_s[level] +=
          better_level_s(windows_on(static_cast<int>(level), members, mix_spans, states));
    for (const std::size_t k : members) states[k].curve = curve;
  }
}

void fit_recorders(double gate_s, const std::vector<Span>& mix_spans,
                   std::vector<TrackState>& states) {
  for (const auto& members : members_of_recorders(states)) {
    if (members.empty()) continue;
    const ClockCurve before = states[members.front()].curve;
    if (states[members.front()].splice_s > 0.0) {
      for (const std::size_t k : members) {
        weigh_by_splice(states[k]);
        count_support(states[k]);
      }
      continue;
    }
    std::vector<Pairing> pairings;
    for (const std::size_t k : members)
      for (const Measured& m : states[k].measured) {
        Pairing pairing{m.track_s, on_timeline_s(m, mix_spans), m.sigma_s,
                        level_at(states[k], m.track_s)};
        if (pairing.level >= 0 &&
            std::abs(pairing.line_s - before.line_s(pairing.level, pairing.track_s)) > gate_s)
          pairing.level = -1;
        pairings.push_back(pairing);
      }
    ClockFitOptions options;
    options.gate_s = kFitGate_s;
    const ClockFit fit = fit_clock(pairings, before, options);
    std::size_t at = 0;
    for (const std::size_t k : members) {
      TrackState& state = states[k];
      const auto count = static_cast<std::ptrdiff_t>(state.measured.size());
      if (fit.found) {
        const auto first = fit.weights.begin() + static_cast<std::ptrdiff_t>(at);
        state.weights.assign(first, first + count);
        state.fit = fit;
        state.curve = fit.curve;
      } else {
        state.weights.assign(state.measured.size(), 0.0);
      }
      at += static_cast<std::size_t>(count);
      count_support(state);
      make_map(state, mix_spans);
    }
  }
}

void fit_recorders_and_mix(double gate_s, double mix_length_s, std::vector<Seam>& seams,
                           std::vector<Span>& mix_spans, std::vector<TrackState>& states) {
  for (int round = 0; round < kMixStepRounds && mix_spans.size() > 1; ++round) {
    refine_mix_steps(gate_s, mix_length_s, states, seams, mix_spans);
    fit_recorders(gate_s, mix_spans, states);
  }
  fit_recorders(gate_s, mix_spans, states);
}

}  // namespace kilter::sync
