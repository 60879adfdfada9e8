// The resampler's filter where a track is reduced to a lower rate, at every place between two
// frames.
#pragma once

#include <cstdint>

#include "kilter/signal/fft.h"

namespace kilter {

struct SincShape {
  double stretch{1.0};         // track frames per frame of the lower rate, from 1 to 128
  double pass_share{5.0 / 6};  // end of the pass band, in half rates of the lower rate, below 1;
                               // its mirror image is the stop band
};

/// A Kaiser-windowed sinc by its distance from the place asked for, cut into cells: inside each,
/// every tap is a parabola of the place's offset from the cell's middle, in cells from -1/2 to 1/2:
///
///     weight = value + offset * (slope + offset * bend)
///
/// Immutable and safe to use from many threads.
class SincTable {
 public:
  explicit SincTable(const SincShape& shape);

  /// A multiple of 8. Tap half() - 1 lies on the frame at or before the place.
  std::int64_t taps() const { return taps_; }
  std::int64_t half() const { return taps_ / 2; }
  /// How many taps in the middle have a bend; a whole number of 8 outside on either side.
  std::int64_t bent_taps() const { return bent_taps_; }
  /// There are 2^cell_bits() cells in a frame.
  int cell_bits() const { return cell_bits_; }
  /// Values of all taps, then slopes of all taps, then bends of the middle ones.
  const float* row(std::uint64_t cell) const {
    return rows_.data() + static_cast<std::int64_t>(cell) * (2 * taps_ + bent_taps_);
  }

 private:
  std::int64_t taps_;
  std::int64_t bent_taps_;
  int cell_bits_;
  FftVector<float> rows_;
};

}  // namespace kilter
