// Loudness as ITU-R BS.1770 and EBU R 128 define it.
#pragma once

#include <memory>
#include <optional>
#include <span>

#include "kilter/base/units.h"

namespace kilter::intake {

/// Integrated loudness of one channel, by libebur128. Memory: some 100 kB whatever the length. One
/// per thread.
class LoudnessMeter {
 public:
  explicit LoudnessMeter(SampleRate rate);
  LoudnessMeter(LoudnessMeter&&) noexcept;
  LoudnessMeter& operator=(LoudnessMeter&&) noexcept;
  ~LoudnessMeter();

  void process(std::span<const float> frames);
  /// LUFS of all that was processed, the channel alone being heard on one loudspeaker. Nothing
  /// where less than 400 ms came, or nothing above -70 LUFS.
  std::optional<double> integrated_lufs() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace kilter::intake
