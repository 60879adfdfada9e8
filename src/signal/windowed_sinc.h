// Kaiser-windowed sincs in double precision: what the resampler's tables are made of.
#pragma once

#include <cstdint>
#include <vector>

namespace kilter {

/// Taps that a window for so many decibels needs: (A - 7.95) / (14.36 * width), `width` that of the
/// transition in cycles per frame (J. F. Kaiser, "Nonrecursive digital filter design using the
/// I0-sinh window function", Proc. IEEE ISCAS 1974).
double kaiser_taps(double attenuation_db, double width);

class WindowedSinc {
 public:
  /// `taps` even. The sinc's zeros are `stretch` frames apart.
  WindowedSinc(std::int64_t taps, double stretch, double attenuation_db);

  /// All taps for a place `fraction` of a frame after tap taps / 2 - 1; they add up to 1.
  std::vector<double> weights_at(double fraction) const;

 private:
  double window(double x) const;

  std::int64_t taps_;
  double stretch_;
  double beta_;
  double top_;
};

}  // namespace kilter
