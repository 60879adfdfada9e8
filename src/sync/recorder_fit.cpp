#include "recorder_fit.h"

#include <algorithm>
#include <cmath>

#include "recorders.h"
#include "track_fit.h"

namespace kilter::sync {
namespace {

constexpr int kMixStepRounds = 6;
constexpr double kFitGate_s = 0.12e-3;

/// The sizes of the mix's own steps, from the windows of all tracks on both sides.
void refine_mix_steps(double gate_s, double mix_length_s, const std::vector<TrackState>& states,
                      std::vector<Seam>& seams, std::vector<Span>& mix_spans) {
  if (mix_spans.size() < 2) return;
  for (std::size_t s = 0, mix_seam = 0; s < seams.size(); ++s) {
    if (seams[s].cause != SeamCause::mix) continue;
    const double seam_s = seams[s].place.mix_end_s;
    const double from_s = mix_seam > 0 ? mix_spans[mix_seam].from_s : 0.0;
    const double to_s = mix_spans[std::min(mix_seam + 1, mix_spans.size() - 1)].to_s;
    ++mix_seam;
    double sum = 0.0;
    double weight = 0.0;
    for (const TrackState& state : states) {
      if (!state.placed) continue;
      double moment[2] = {};
      double say[2] = {};
      for (const Measured& m : state.measured) {
        if (m.at_s < from_s || m.at_s > to_s) continue;
        const int level = level_at(state, m.track_s);
        if (level < 0) continue;
        const double away_s = on_timeline_s(m, mix_spans) - state.curve.line_s(level, m.track_s);
        if (std::abs(away_s) > gate_s || std::abs(m.at_s - seam_s) < 5.0) continue;
        const int side = m.at_s < seam_s ? 0 : 1;
        const double w = 1.0 / (m.sigma_s * m.sigma_s + 4e-12);
        moment[side] += w * away_s;
        say[side] += w;
      }
      if (say[0] <= 0.0 || say[1] <= 0.0) continue;
      const double w = 1.0 / (1.0 / say[0] + 1.0 / say[1]);
      sum += w * (moment[1] / say[1] - moment[0] / say[0]);
      weight += w;
    }
    if (weight > 0.0) seams[s].step_s += sum / weight;
  }
  mix_spans = mix_spans_of(seams, mix_length_s);
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
