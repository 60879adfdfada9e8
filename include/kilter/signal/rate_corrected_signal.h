// A track whose file states a wrong rate, heard at the rate it was recorded with.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/signal/analysis_signal.h"

namespace kilter {

/// `fine` is for measuring. `rough` serves onset features, which end at 4 kHz, at a tenth of the
/// cost: flat within 1 dB and images 40 dB down up to 3.5 kHz (times the ratio where below 1).
enum class RateCorrection { fine, rough };

/// Frame i is the nominal signal's sound at its frame `i * ratio`. `ratio` is nominal seconds per
/// true second, the true rate over the stated one: 48000.0 / 44100.0 for 48 kHz sound under a
/// header that says 44.1 kHz. A moment at corrected second t lies at nominal second `t * ratio`.
///
/// A fine one is flat within 0.1 dB, and images and aliases 80 dB down, up to 7.2 kHz, or 7.2 kHz *
/// ratio where the header promised more than was recorded. Keeps nothing between reads: safe to
/// read from many threads. The nominal signal is borrowed and must outlive this one. Cost: about
/// 130 multiplications per frame (times the ratio where above 1); memory: a table of 140 kB, and
/// 0.3 MB (times the ratio where above 1) while reading.
class RateCorrectedSignal final : public AnalysisSignal {
 public:
  /// `ratio` from 1/16 to 16.
  RateCorrectedSignal(const AnalysisSignal& nominal, double ratio,
                      RateCorrection kind = RateCorrection::fine);

  std::int64_t frames() const override;
  Result<void> read(std::int64_t first, std::span<float> out) const override;

 private:
  Result<void> read_block(std::int64_t first, std::span<float> out,
                          std::vector<float>& input) const;
  /// `input` begins at the nominal frame `input_first`.
  void interpolate(std::span<const float> input, std::int64_t input_first, std::int64_t first,
                   std::span<float> out) const;

  const AnalysisSignal& nominal_;
  double ratio_;
  std::int64_t half_;  // taps on either side
  std::int64_t phases_;
  std::vector<float> rows_;  // phases_ + 1 filters of 2 * half_ taps
};

}  // namespace kilter
