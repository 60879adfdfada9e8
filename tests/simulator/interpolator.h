// Sound between the grid points.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace kilter::simulator {

/// Band-limited interpolation: a sinc under a Kaiser window, error below -120 dB up to 0.9 of
/// the lower Nyquist frequency. Positions are doubles; the kernel is tabulated for 2048
/// fractions and linear between them. Safe to use from many threads.
class Interpolator {
 public:
  /// `from_hz`: rate of the input. `to_hz`: rate at which it will be read; lower than `from_hz`
  /// makes the kernel a low-pass for it, at most 8 times lower.
  Interpolator(double from_hz, double to_hz);

  /// Input frames needed on either side of a position.
  int reach() const { return half_; }
  /// The sound at `position` (in input frames). Frames outside `input` count as 0.
  /// Cost: two multiplications per tap, reach() * 2 taps.
  float at(std::span<const float> input, double position) const;

 private:
  int half_{0};
  int taps_{0};
  std::vector<float> rows_;  // per fraction: the taps
};

}  // namespace kilter::simulator
