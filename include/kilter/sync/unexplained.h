// What the mix holds that no placed track explains: somebody whose recording is missing, or music.
#pragma once

#include <atomic>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/sync/window_meter.h"

namespace kilter::sync {

struct UnexplainedOptions {
  int threads{1};
  /// Set from elsewhere to give up: it then fails with `interrupted` within a second or so.
  const std::atomic<bool>* stop{nullptr};
};

enum class HalfKind {
  uncovered,  ///< no placed track lies here
  quiet,      ///< covered, but too faint to be speech
  explained,
  voice,  ///< unexplained
  music   ///< unexplained
};

/// Half a second of the timeline.
struct HalfSecond {
  HalfKind kind{HalfKind::uncovered};
  float mix_db{-200.0F};  ///< level of the mix, 150 Hz to 4 kHz, up to a constant
  /// What the tracks leave of the mix, against the mix: the depth of the null.
  float depth_db{0.0F};
};

/// Seconds of the stretches together.
double total_s(const std::vector<Stretch>& stretches);

struct Unexplained {
  static constexpr double kHalf_s = 0.5;
  double from_s{0.0};              ///< timeline second at which halves[0] begins
  std::vector<HalfSecond> halves;  ///< one after the other without gaps
  std::vector<Stretch> voice;      ///< in order of time; none with less than 2 s of its kind
  std::vector<Stretch> music;      ///< the same
  /// As loud as speech and no music, where no track lies: before all recorders ran, or after.
  std::vector<Stretch> unrecorded;
  double voice_s{0.0};             ///< sum of the stretches
  double music_s{0.0};
  double typical_depth_db{0.0};  ///< median over the explained half seconds
};

/// Goes through the mix in windows of 8 s (longer for more than 8 tracks), explains each by all
/// tracks together as WindowMeter does, and judges every half second by what is left. What is left
/// of a half second is tried against tracks that are heard up to 0.1 s beside their maps, as a
/// network's jitter brings it about, before it counts. Music is told by spectral lines that stand
/// still; drums alone count as a voice, and so does laughter.
///
/// `mix.map` leads from mix time to the timeline. Where no track lies nothing is unexplained: the
/// recorders did not run, and what is loud there is told apart. A room microphone that is missing is explained by its neighbours'
/// bleed and not found. Bit-identical for any `threads`. Fails where a signal cannot be read.
/// Cost: 29 000 transforms of 2048 per track-hour and mix-hour, more where much is unexplained.
/// Memory: 16 bytes per half second, and 1 MB and 0.6 MB per track and thread.
Result<Unexplained> find_unexplained(const MappedTrack& mix, const std::vector<MappedTrack>& tracks,
                                     const UnexplainedOptions& options);

}  // namespace kilter::sync
