// A track bent onto the timeline: the resampler that makes stems.
#pragma once

#include <cstdint>
#include <functional>
#include <span>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/base/time_map.h"
#include "kilter/base/units.h"

namespace kilter {

/// Output frame n is what the track holds for timeline second `from_s + n / out_rate`. Silence
/// where no span of the map lies, and outside the track. A Kaiser-windowed sinc of 96 taps (more
/// where the sound is pressed together, its cut-off then at the output's half rate): images and
/// aliases 120 dB down, and flat, up to 0.9 of the lower half rate.
///
/// Where a span keeps the rate and moves the track by whole frames, both to within 1e-6 of a frame
/// over the whole span, output is input, bit for bit. Positions are good to 1e-5 of a frame over 12
/// hours at 96 kHz. Output does not depend on the block size.
/// Memory: a table of 1.5 MB and a block of input. Cost: about 200 multiplications per frame. One
/// object per track and thread.
class MapResampler {
 public:
  /// Fills its argument with the track's next frames, one channel, and returns how many: fewer than
  /// asked only at the end.
  using Pull = std::function<Result<std::int64_t>(std::span<float>)>;

  MapResampler(const TimeMap& map, SampleRate in_rate, SampleRate out_rate, double from_s,
               Pull pull);
  /// Fills `out` with the next output frames. Fails only as the pull fails.
  Result<void> read(std::span<float> out);

 private:
  /// A place in the track: whole frames, and 2^-64 of a frame. Steps add up without rounding.
  struct Position {
    std::int64_t frame{0};
    std::uint64_t fraction{0};
    void advance(const Position& step) {
      fraction += step.fraction;
      frame += step.frame + (fraction < step.fraction ? 1 : 0);
    }
  };
  /// A span in frames.
  struct Run {
    std::int64_t out_first{0};
    std::int64_t out_end{0};
    double frames_per_out{1.0};
    Position start;
    Position step;
    bool copies{false};  // whole frames at an unchanged rate
  };

  static Position to_position(double frames);
  Run run_of(const Span& span, double from_s) const;
  void make_table(double stretch);
  Result<void> fill(const Run& run, std::span<float> out);
  Result<void> pull_until(std::int64_t end, std::int64_t keep_from);
  float value_at(const Run& run) const;
  float interpolate(const float* input) const;
  std::int64_t history_end() const { return history_first_ + std::ssize(history_); }

  double in_hz_;
  double out_hz_;
  Pull pull_;
  std::vector<Run> runs_;
  std::size_t run_{0};
  std::int64_t next_out_{0};
  Position position_;

  std::int64_t half_{0};  // taps on either side
  int phase_bits_{0};
  std::vector<float> table_;  // 2^phase_bits_ + 1 rows of 2 * half_ taps

  std::vector<float> history_;  // track frames from history_first_, silence before and after
  std::int64_t history_first_{0};
  bool ended_{false};
};

}  // namespace kilter
