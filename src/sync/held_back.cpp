#include "held_back.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <span>

#include "quarter_seconds.h"
#include "wide_bands.h"

namespace kilter::sync {
namespace {

constexpr double kLongest_s = 300.0;
constexpr double kAlike_s = 0.020;  // of words in one such stretch
constexpr double kAround_s = 4.0;   // of a seam's end: so far off its words may begin
constexpr double kSpeech = 0.03;    // of the loudest quarter of a second around
constexpr double kLeastStall_s = 0.25;
constexpr double kEdge_s = 0.03;  // of a gap, where words end and begin

double power_of(std::span<const float> sound) {
  return sum_of_squares(sound) / static_cast<double>(std::max<std::size_t>(sound.size(), 1));
}

/// Whether somebody speaks between two seconds, as loud as there is speech around.
Result<bool> holds_speech(const AnalysisSignal& signal, double from_s, double to_s) {
  const auto frame = [](double s) {
    return static_cast<std::int64_t>(std::llround(s * kAnalysisRateHz));
  };
  const std::int64_t from = frame(from_s);
  const std::int64_t to = frame(to_s);
  const std::int64_t around = frame(kAround_s);
  std::vector<float> sound(static_cast<std::size_t>(to - from + 2 * around));
  if (auto read = signal.read(from - around, sound); !read) return read.error();
  const std::span<const float> all = sound;
  const auto quarter = static_cast<std::size_t>(kQuarter);
  double loudest = 0.0;
  for (std::size_t i = 0; i + quarter <= sound.size(); i += quarter)
    loudest = std::max(loudest, power_of(all.subspan(i, quarter)));
  const auto first = static_cast<std::size_t>(around);
  return power_of(all.subspan(first, all.size() - 2 * first)) > kSpeech * loudest;
}

bool is_of_one(const Seam& seam, std::size_t track) {
  return is_own(seam, track) && seam.tracks.size() == 1 && !seam.in_both;
}

/// The step that a seam of one track shows, and the one behind it; the track's steps' end where
/// those are not two in a row.
std::size_t step_at(const TrackState& state, const Seam& first, const Seam& second) {
  for (std::size_t i = 0; i + 1 < state.steps.size(); ++i)
    if (state.steps[i].mix_from_s == first.shown.front().mix_from_s &&
        state.steps[i + 1].mix_from_s == second.shown.front().mix_from_s)
      return i;
  return state.steps.size();
}

/// Takes the level between two steps out, and with it the second one's, which is the first's.
void go_straight_on(TrackState& state, std::size_t at) {
  const Step first = state.steps[at];
  const Step second = state.steps[at + 1];
  for (std::size_t i = 0; i < state.measured.size(); ++i)
    if (state.measured[i].at_s > first.mix_from_s && state.measured[i].at_s < second.mix_to_s)
      state.weights[i] = 0.0;
  const auto begin = state.curve.start_s.begin();
  state.curve.start_s.erase(begin + first.level + 1, begin + first.level + 3);
  const auto step = state.steps.begin() + static_cast<std::ptrdiff_t>(at);
  state.steps.erase(step, step + 2);
  for (std::size_t i = at; i < state.steps.size(); ++i) state.steps[i].level -= 2;
}

/// A guest's seam that would be the recording's: whether the stream did it, for the recording would
/// have too much that was said, or the mix, amid the guest's words, holds nothing of what it lost.
Result<bool> is_streams(const MixInput& mix, const TrackInput& track, const Seam& seam) {
  const SeamPlace& place = seam.place;
  if (place.zeros) return false;
  if (place.repeated) return seam.step_s > 0.0;  // by the mix
  if (seam.step_s < 0.0) return holds_speech(*track.signal, place.track_end_s, place.track_from_s);
  if (seam.step_s < kLeastStall_s || !place.in_speech) return false;
  const auto filled =
      holds_speech(*mix.signal, place.mix_end_s + kEdge_s, place.mix_from_s - kEdge_s);
  if (!filled) return filled.error();
  return !*filled;
}

}  // namespace

Result<void> set_held_back_aside(const MixInput& mix, const std::vector<TrackInput>& tracks,
                                 const std::vector<bool>& remote, std::vector<Seam>& seams,
                                 std::vector<TrackState>& states) {
  for (std::size_t k = 0; k < states.size(); ++k) {
    TrackState& state = states[k];
    state.held.clear();
    if (!state.placed || !remote[k]) continue;
    for (std::size_t a = 0; a + 1 < seams.size();) {
      std::size_t b = a + 1;
      while (b < seams.size() && !is_own(seams[b], k)) ++b;
      if (b == seams.size()) break;
      const Seam& first = seams[a];
      const Seam& second = seams[b];
      const std::size_t step = step_at(state, first, second);
      const bool undone = is_of_one(first, k) && is_of_one(second, k) &&
                          std::abs(first.step_s + second.step_s) < kSameStep_s &&
                          second.place.mix_end_s - first.place.mix_end_s < kLongest_s &&
                          step < state.steps.size();
      const SeamPlace& surplus = first.step_s < 0.0 ? first.place : second.place;
      bool whole = undone && !surplus.zeros && !surplus.repeated;
      if (whole) {
        // A lossy file has no exact silence: there only speech tells.
        const auto speaks =
            holds_speech(*tracks[k].signal, surplus.track_end_s, surplus.track_from_s);
        if (!speaks) return speaks.error();
        whole = *speaks || !tracks[k].lossy;
      }
      if (!whole) {
        a = b;
        continue;
      }
      state.held.push_back({first.place.mix_end_s, second.place.mix_from_s, first.step_s});
      go_straight_on(state, step);
      seams.erase(seams.begin() + static_cast<std::ptrdiff_t>(b));
      seams.erase(seams.begin() + static_cast<std::ptrdiff_t>(a));
    }
  }
  for (Seam& seam : seams) {
    const std::size_t k = seam.tracks.front();
    if (seam.cause != SeamCause::track || !remote[k] || !is_of_one(seam, k)) continue;
    const auto streams = is_streams(mix, tracks[k], seam);
    if (!streams) return streams.error();
    if (*streams) seam.cause = SeamCause::stream;
  }
  return {};
}

bool is_held_back(const TrackState& state, double mix_s, double late_s) {
  return std::any_of(state.held.begin(), state.held.end(), [&](const HeldBack& held) {
    return mix_s > held.mix_from_s - kAround_s && mix_s < held.mix_to_s + kAround_s &&
           std::abs(late_s - held.late_s) < kAlike_s;
  });
}

}  // namespace kilter::sync
