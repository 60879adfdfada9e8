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
/// aliases 120 dB down and flat within 0.01 dB up to 0.9 of the lower half rate.
///
/// Where the map keeps the rate and moves the track by whole frames, both to within 1e-6 of a frame
/// over the whole span, output is input, bit for bit. Output does not depend on the block size.
/// Memory: a table of 1.5 MB and a block of input. Cost: about 200 multiplications per frame. One
/// object per track and thread.
class MapResampler {
 public:
  /// Delivers the track's next frames, one channel: the count, fewer than asked only at the end.
  using Pull = std::function<Result<std::int64_t>(std::span<float>)>;

  MapResampler(TimeMap map, SampleRate in_rate, SampleRate out_rate, double from_s, Pull pull);
  /// Fills `out` with the next output frames. Fails only as `pull` fails.
  Result<void> read(std::span<float> out);

 private:
  /// A position in the track: whole frames, and 2^-64 of a frame. Adding up steps is then exact.
  struct Position {
    std::int64_t frame{0};
    std::uint64_t fraction{0};
  };
  /// A span, in frames.
  struct Run {
    std::int64_t out_first{0};
    std::int64_t out_end{0};
    Position start;
    Position step;
  };

  Run run_of(const Span& span, double from_s) const;
  void make_table(double step);
  Result<void> fill(const Run& run, std::span<float> out);
  /// The taps' input, of which the first is track frame `first`; nullptr: all silence.
  Result<const float*> window(std::int64_t first);
  Result<void> pull_block();
  float interpolate(const float* input, std::uint64_t fraction) const;

  double in_hz_;
  double out_hz_;
  Pull pull_;
  std::vector<Run> runs_;
  std::size_t run_{0};
  std::int64_t next_out_{0};
  Position position_;

  int half_{0};  // taps on either side
  int phases_{0};
  bool passes_whole_frames_{true};  // the kernel is 1 at 0 and 0 at every other whole frame
  std::vector<float> table_;        // phases_ + 1 rows of 2 * half_ taps

  std::vector<float> history_;  // track frames from history_first_; zeros before the track
  std::int64_t history_first_{0};
  bool ended_{false};
  std::int64_t track_end_{0};  // once ended_
};

}  // namespace kilter
