// Sound between the grid points.
#pragma once

#include <memory>
#include <span>
#include <vector>

namespace kilter::simulator {

/// Band-limited interpolation: a sinc under a Kaiser window, error below -120 dB up to 0.9 of
/// the lower Nyquist frequency. Positions are doubles; the kernel is tabulated for 2048
/// fractions and linear between them. Safe to use from many threads.
class Interpolator {
 public:
  /// `from_hz`: rate of the input. `to_hz`: rate at which it will be read; lower than `from_hz`
  /// makes the kernel a low-pass for it, at most 8 times lower. The first of its kind makes a table
  /// of some 1 to 6 MB, which the others share.
  Interpolator(double from_hz, double to_hz);

  /// The sound at `position` (in input frames). Frames outside `input` count as 0.
  /// Cost: two multiplications per tap; 88 taps, more for a low-pass.
  float at(std::span<const float> input, double position) const;
  /// The same at many positions, as many as `out` holds; faster than one by one.
  void read(std::span<const float> input, std::span<const double> positions,
            std::span<float> out) const;

 private:
  int taps_{0};
  std::shared_ptr<const std::vector<float>> rows_;  // per fraction: the taps
};

/// The input at its own grid points, without what lies above `corner_hz`; no table is made.
std::vector<float> low_pass(std::span<const float> input, double rate_hz, double corner_hz);

}  // namespace kilter::simulator
