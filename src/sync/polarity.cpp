#include "polarity.h"

#include <algorithm>
#include <cmath>

#include "track_fit.h"

namespace kilter::sync {
namespace {

constexpr double kDisputed = 0.15;  // of what the windows of all tracks together say

constexpr double kWindow_s = 2.5;  // about as long as somebody talks alone
constexpr double kRound_s = 5.0;   // of the middle of a window of all tracks
constexpr std::size_t kMostMiddles = 60;
constexpr double kSearch_s = 0.020;     // a neighbour is heard late by less
constexpr double kInPlace_s = 0.25e-3;  // and by more
constexpr double kHasSay = 0.1;
// Measured beside a guest's file that is the mix, with loud leaks, and with two to four people in a
// room: of 5 to 70 windows all or none say it.
constexpr double kNearlyAll = 0.85;
constexpr int kLeastWindows = 3;
constexpr double kBeyondDispute = 0.9;  // 0.2 to 0.64 was seen where they misjudge

/// How much of what the windows of all tracks together say is that the track is upside down.
double inverted_share(const TrackState& state) {
  double inverted = 0.0;
  double all = 0.0;
  for (std::size_t i = 0; i < state.measured.size(); ++i) {
    all += state.weights[i];
    if (state.measured[i].reading.inverted) inverted += state.weights[i];
  }
  return all > 0.0 ? inverted / all : 0.0;
}

/// Mix seconds round which the track is heard, spread over them where they are many.
std::vector<double> middles_of(const TrackState& state) {
  std::vector<double> all;
  for (std::size_t i = 0; i < state.measured.size(); ++i)
    if (state.weights[i] > kHasSay) all.push_back(state.measured[i].at_s);
  const std::size_t count = std::min(all.size(), kMostMiddles);
  std::vector<double> chosen;
  for (std::size_t i = 0; i < count; ++i) chosen.push_back(all[i * all.size() / count]);
  return chosen;
}

/// Whether nearly all windows that hold the track in its place, and hardly anybody else, have it
/// upside down.
Result<bool> is_inverted_by_itself(const Aligning& session, std::size_t k) {
  WindowMeter meter({.search_s = kSearch_s, .joint = false});
  const TrackState& state = session.states[k];
  const double reach_s = std::max(kInPlace_s, state.splice_s);
  int inverted = 0;
  int in_place = 0;
  for (const double middle_s : middles_of(state))
    for (double from_s = middle_s - kRound_s; from_s < middle_s + kRound_s; from_s += kWindow_s) {
      if (session.stopped()) return interrupted();
      const auto readings =
          meter.measure(*session.mix.signal, {session.mapped(k)}, from_s, kWindow_s);
      if (!readings) return readings.error();
      const Reading& reading = readings->front();
      if (!reading.heard || !is_clear(reading) || std::abs(reading.offset_s) > reach_s) continue;
      ++in_place;
      if (reading.inverted) ++inverted;
    }
  if (in_place < kLeastWindows) return inverted_share(state) >= kBeyondDispute;
  return inverted >= kNearlyAll * in_place;
}

}  // namespace

Result<std::vector<bool>> inverted_tracks(const Aligning& session) {
  return ask_tracks(session, [&](std::size_t k) -> Result<bool> {
    const TrackState& state = session.states[k];
    if (!state.placed || inverted_share(state) < kDisputed) return false;
    return is_inverted_by_itself(session, k);
  });
}

}  // namespace kilter::sync
