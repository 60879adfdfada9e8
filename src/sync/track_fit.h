// One track's clock from its own windows.
#pragma once

#include "track_state.h"

namespace kilter::sync {

/// Moves every level of the track onto the line of its windows; one slope for all, the best known
/// level's. For maps that may still be far off.
void fit_coarsely(TrackState& state, const LineFitOptions& options);

/// Finds the levels that the track's windows stand on, and fits the clock through all of them. The
/// track's levels and steps are new afterwards; its times are the mix's. False where too little
/// agrees for that.
bool fit_levels(TrackState& state);

/// Whether the steps are those of a stream that is spliced instead of drifting: all one way, of a
/// few milliseconds, and between them the track stands still against the mix.
bool goes_in_stairs(const TrackState& state);

/// The straight line of a recorder whose stream goes in stairs, in place of its steps: it passes
/// through the middle of every splice, since the stream is let run as far ahead as it is then set
/// back. The closer the steps are placed in the mix, the better it is known.
void flatten_staircase(TrackState& state);

/// New pieces, one between two steps. Until the steps are placed, the pieces meet half-way.
void cut_half_way(TrackState& state);

/// Makes map of pieces and curve. `mix_spans` leads from mix time to the timeline on which the
/// curve lies. Not placed where that leaves nothing.
void make_map(TrackState& state, const std::vector<Span>& mix_spans);

/// Where the one before does not end yet, in the track or on the line, the span starts later, on
/// its own line. Pieces that meet overlap by a rounding, and by milliseconds while lanes are known
/// no better.
void start_behind(const Span& before, Span& span);

/// The spans of the track on the timeline: bends in straight pieces, each with its uncertainty from
/// `uncertainty_us(level, track_s)`.
template <typename Uncertainty>
std::vector<Span> spans_of(const TrackState& state, const Uncertainty& uncertainty_us);

/// A window in which one delay explains less than half of the phase, or that has two peaks alike,
/// knows less than its noise says: somebody else's voice stands in it.
double trusted_sigma_s(const Reading& reading);

/// For a track whose stream goes in stairs: every window within a splice of the line counts.
void weigh_by_splice(TrackState& state);

/// One delay explains most of the phase and no other peak comes near.
bool is_clear(const Reading& reading);

/// Sets used and used_share from the weights.
void count_support(TrackState& state);

// ---------------------------------------------------------------------------------------------

constexpr double kBendStep_s = 20.0;  // straight over so long, a bend of ppm is off by nanoseconds

template <typename Uncertainty>
std::vector<Span> spans_of(const TrackState& state, const Uncertainty& uncertainty_us) {
  std::vector<Span> spans;
  for (const Piece& piece : state.pieces) {
    const double length_s = piece.to_s - piece.from_s;
    if (!(length_s > 0.0)) continue;
    const int parts =
        state.curve.is_straight() ? 1 : static_cast<int>(std::ceil(length_s / kBendStep_s));
    for (int i = 0; i < parts; ++i) {
      const double from_s = piece.from_s + length_s * i / parts;
      const double to_s = i + 1 == parts ? piece.to_s : piece.from_s + length_s * (i + 1) / parts;
      Span span{from_s, to_s, state.curve.line_s(piece.level, from_s),
                state.curve.line_s(piece.level, to_s), 0.0};
      if (!spans.empty()) start_behind(spans.back(), span);
      if (!(span.from_s < span.to_s && span.line_from_s < span.line_to_s)) continue;
      span.uncertainty_us =
          std::max(uncertainty_us(piece.level, from_s), uncertainty_us(piece.level, to_s));
      spans.push_back(span);
    }
  }
  return spans;
}

}  // namespace kilter::sync
