// How loud a channel is: figures that tell a live microphone from a dead one.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "kilter/base/units.h"
#include "kilter/intake/zero_runs.h"
#include "kilter/signal/envelope.h"
#include "kilter/signal/hum_meter.h"

namespace kilter::intake {

/// Levels of one channel. dBFS: 0 is a full-scale square wave; minus infinity where all is zero.
/// Percentiles are taken over stretches of 50 ms, each without its own mean, to 0.1 dB.
struct Levels {
  double peak_dbfs{0.0};
  double rms_dbfs{0.0};
  double level_dbfs{0.0};    ///< 95 % of the stretches are quieter: how loud it speaks
  double loudest_dbfs{0.0};  ///< 99.9 % are quieter: tells a rare talker from a dead channel
  double floor_dbfs{0.0};    ///< 10 % are quieter: noise between the words
  double talk_share{0.0};    ///< part of the stretches that are as loud as talk, 0..1
  std::optional<double> loudness_lufs{};  ///< integrated, where it was measured
  double dc{0.0};                         ///< mean, full scale being 1
  std::int64_t clipped_runs{0};    ///< at least 3 frames in a row at or above full scale, all alike
  std::int64_t clipped_frames{0};  ///< frames in those places
  Frames first_clip;               ///< where the first of them starts
  /// Digital silence that breaks into loud sound, as where a recorder wrote zeros for what it lost
  /// (see ZeroTally). To 50 ms. None where a gate silences nearly every pause: its cuts look alike.
  std::int64_t dropouts{0};
  Frames dropout_frames;
  Frames first_dropout;
  std::optional<Hum> hum{};  ///< where it is strong: the figures above are of all, hum and all
};

/// Whether a channel holds nothing, not even a microphone's noise: all below -80 dBFS.
bool is_silent(const Levels& levels);

/// Measures one channel as it streams by. Memory: 500 kB at most, whatever the length. One per
/// thread.
class LevelMeter {
 public:
  explicit LevelMeter(SampleRate rate);
  void process(std::span<const float> frames);
  /// Levels of all that was processed. Frames after the last whole 50 ms count in the peak and the
  /// mean only, unless there is nothing else.
  Levels levels() const;
  /// In stretches of 50 ms, or of 50 ms doubled as often as it takes for 16384 cells. Frames after
  /// the last whole 50 ms are left out.
  Envelope envelope() const;
  /// Zeros with sound before and after them, in order; of more than 4096, the first.
  const std::vector<ZeroRun>& zero_runs() const { return zero_runs_; }

 private:
  void add_to_stretch(std::span<const float> frames);
  void count_clips(std::span<const float> frames);
  void end_stretch();
  void watch_for_zeros(double power);
  bool leaves_pauses() const;
  ZeroSum dropouts() const;

  double rate_hz_;
  std::int64_t stretch_frames_;
  std::int64_t in_stretch_{0};
  double stretch_sum_{0.0};
  double stretch_squares_{0.0};
  float stretch_peak_{0.0F};
  EnvelopeCollector envelope_;
  LevelHistogram stretches_;
  HumMeter hum_;

  std::int64_t frames_{0};
  double sum_{0.0};
  double squares_{0.0};
  float peak_{0.0F};
  std::int64_t run_{0};  // frames alike at full scale up to the last one seen
  float run_value_{0.0F};
  std::int64_t clipped_runs_{0};
  std::int64_t clipped_frames_{0};
  std::int64_t first_clip_{0};

  std::int64_t zero_stretches_{0};  // up to the last whole one
  bool loud_before_{false};         // the stretch before them, or the last one
  bool has_sounded_{false};
  std::int64_t quiet_stretches_{0};  // up to the last one, without zeros
  std::int64_t pause_stretches_{0};  // all that are so quiet for longer than a gate takes to close
  std::int64_t lost_stretches_{0};   // in all runs of zeros
  std::int64_t other_stretches_{0};  // without zeros
  ZeroTally zeros_;
  std::vector<ZeroRun> zero_runs_;
};

}  // namespace kilter::intake
