// The mains' hum in a recording, and how loud the rest is.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "kilter/base/units.h"
#include "kilter/signal/level_histogram.h"

namespace kilter {

/// dBFS: 0 is a full-scale square wave. Percentiles of stretches of 50 ms in which what repeats at
/// the hum's rate, itself and its harmonics, is taken out.
struct Hum {
  double hz{0.0};            ///< 50 or 60
  double dbfs{0.0};          ///< of its fundamental
  double level_dbfs{0.0};    ///< of the rest: 95 % are quieter
  double loudest_dbfs{0.0};  ///< 99.9 %
  double floor_dbfs{0.0};    ///< 10 %
};

/// Looks for hum as the recording streams by. Memory: 90 kB and 1.7 kB per kHz of the rate. Cost:
/// eight multiplications a frame. The same for blocks of any size. One per thread.
class HumMeter {
 public:
  explicit HumMeter(SampleRate rate);
  void process(std::span<const float> frames);
  /// Hum that stands out: a line at 50 or 60 Hz alone in its neighbourhood for most of the seconds,
  /// ten at least, as loud in nearly all of them, and no more than 30 dB below the loudest of the
  /// rest. No voice keeps such a pitch.
  std::optional<Hum> hum() const;

 private:
  static constexpr std::size_t kStretchesPerSecond = 20;

  /// How far a line near the one that stretches were projected on has turned by each of them, back.
  using Turns = std::array<std::complex<double>, kStretchesPerSecond>;

  /// One of the two rates that mains have.
  struct Line {
    double hz;
    std::size_t period_frames;
    std::vector<float> cosines;  // over a stretch
    std::vector<float> sines;
    Turns turns{};
    Turns turns_below{};  // of the lines beside it
    Turns turns_above{};
    std::array<std::complex<double>, kStretchesPerSecond> stretches{};
    LevelHistogram seconds{};  // of the line, where it stands out
    LevelHistogram rest{};     // of stretches without what repeats
  };

  void end_stretch();
  void end_second(Line& line) const;
  Turns turns_at(double hz) const;
  double power_at(const Line& line, const Turns& turns) const;
  std::optional<Hum> hum_of(const Line& line) const;

  double rate_hz_;
  std::size_t stretch_frames_;
  std::array<double, kStretchesPerSecond> weights_{};  // of a second's stretches
  double weights_in_all_{0.0};
  std::array<Line, 2> lines_;
  std::size_t history_frames_;
  std::vector<float> buffer_;  // a period of the slower one, then a stretch
  std::size_t filled_;
  std::size_t in_second_{0};
};

/// Power of `frames` but for what repeats after `period` frames: half the mean square of what each
/// differs by from the one a period before. The first `period` frames only come before the rest.
double power_without_period(std::span<const float> frames, std::size_t period);

}  // namespace kilter
