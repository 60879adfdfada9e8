#include "seam_lines.h"

#include <algorithm>
#include <cmath>

#include "kilter/base/median.h"

namespace kilter::sync {
namespace {

constexpr double kAlike_s = 0.1e-3;
constexpr double kTrusted = 0.4;  // of the share of its windows that the recorder's best track uses

/// Of several tracks' lines the recorder's: the one nearest the middle where they agree, or most do
/// to a hair. A microphone that follows another's voice hears it late, so that else the earliest is
/// right.
std::size_t choose_line(const std::vector<double>& track_s) {
  const double middle_s = lower_median(track_s);
  std::size_t nearest = 0;
  std::size_t earliest = 0;
  for (std::size_t i = 1; i < track_s.size(); ++i) {
    if (std::abs(track_s[i] - middle_s) < std::abs(track_s[nearest] - middle_s)) nearest = i;
    if (track_s[i] < track_s[earliest]) earliest = i;
  }
  const auto alike = std::count_if(track_s.begin(), track_s.end(), [&](double each_s) {
    return std::abs(each_s - track_s[nearest]) < kAlike_s;
  });
  if (alike > 1 && 2 * alike > std::ssize(track_s)) return nearest;
  const double late_s = middle_s - track_s[earliest];
  return late_s > kSameStep_s && late_s < 2.0 * kNeighbour_s ? earliest : nearest;
}

}  // namespace

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

std::vector<RecorderLines> lines_round(const Seam& seam, const std::vector<TrackState>& states) {
  const double middle_s = 0.5 * (seam.mix_from_s + seam.mix_to_s);
  std::vector<int> recorders;
  for (const std::size_t k : seam.tracks)
    if (std::find(recorders.begin(), recorders.end(), states[k].recorder) == recorders.end())
      recorders.push_back(states[k].recorder);
  std::vector<RecorderLines> references;
  for (const int recorder : recorders) {
    std::vector<LocalLine> before;
    std::vector<LocalLine> after;
    std::vector<double> before_s;
    std::vector<double> after_s;
    std::vector<std::size_t> members;
    double best_share = 0.0;
    for (const std::size_t k : seam.tracks)
      if (states[k].recorder == recorder) best_share = std::max(best_share, states[k].used_share);
    for (std::size_t i = 0; i < seam.tracks.size(); ++i) {
      const TrackState& state = states[seam.tracks[i]];
      // One whose line most of its windows contradict has its clock wrong.
      if (state.recorder != recorder || state.used_share < kTrusted * best_share) continue;
      members.push_back(seam.tracks[i]);
      before.push_back(local_line(state.curve, seam.shown[i].level, middle_s));
      after.push_back(local_line(state.curve, seam.shown[i].level + 1, middle_s));
      before_s.push_back(before.back().to_track(middle_s));
      after_s.push_back(after.back().to_track(middle_s));
    }
    const std::size_t chosen = choose_line(before_s);
    references.push_back({recorder, members[chosen], before[chosen], after[choose_line(after_s)]});
  }
  return references;
}

std::vector<double> steps_s(const Seam& seam, const std::vector<TrackState>& states) {
  std::vector<double> steps;
  for (const RecorderLines& reference : lines_round(seam, states))
    steps.push_back(reference.step_s(0.5 * (seam.mix_from_s + seam.mix_to_s)));
  return steps;
}

}  // namespace kilter::sync
