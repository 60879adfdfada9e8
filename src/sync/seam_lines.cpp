#include "seam_lines.h"

namespace kilter::sync {

LocalLine local_line(const ClockCurve& curve, int level, double mix_s) {
  const double start_s = curve.start_s[static_cast<std::size_t>(level)];
  double track_s = (mix_s - start_s) / curve.rate;
  track_s = (mix_s - start_s - curve.bend_s(track_s)) / curve.rate;  // a bend is parts per million
  const double rate = curve.rate_at(track_s);
  return {curve.line_s(level, track_s) - rate * track_s, rate};
}

std::optional<LocalLine> line_through(const TrackState& state, double from_s, double to_s) {
  for (const Step& step : state.steps)
    if (step.mix_from_s < to_s && step.mix_to_s > from_s) return std::nullopt;
  int level = state.pieces.front().level;
  for (const Step& step : state.steps)
    if (step.mix_to_s <= from_s) level = step.level + 1;
  return local_line(state.curve, level, 0.5 * (from_s + to_s));
}

}  // namespace kilter::sync
