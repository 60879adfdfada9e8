// Any rate to the analysis rate, streaming, without moving the sound in time.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "kilter/base/units.h"

namespace kilter {

/// Converts one channel from its own rate to kAnalysisRateHz by a linear-phase polyphase filter
/// whose delay is taken out: output frame i is the sound at second i / kAnalysisRateHz of the
/// input, for any input rate. Flat within 0.1 dB up to 7.2 kHz (or 0.45 of a lower input rate);
/// what folds into the band below 7.2 kHz is 80 dB down. Cost: about 150 multiplications per output
/// frame from 48 kHz. One object per channel and thread.
class RateReducer {
 public:
  /// `rate` from 1 kHz to 768 kHz.
  explicit RateReducer(SampleRate rate);
  /// Appends to `out` the frames that `input` makes computable.
  void process(std::span<const float> input, std::vector<float>& out);
  /// Appends the rest; no process() after it.
  void finish(std::vector<float>& out);

 private:
  void emit(std::vector<float>& out, std::int64_t last_output);

  std::int64_t up_{1};  // output frame i lies at input position i * down_ / up_
  std::int64_t down_{1};
  std::int64_t half_{0};        // taps on either side
  std::vector<float> phases_;   // up_ filters of 2 * half_ taps
  std::vector<float> history_;  // input frames from history_first_
  std::int64_t history_first_{0};
  std::int64_t received_{0};
  std::int64_t next_out_{0};
};

}  // namespace kilter
