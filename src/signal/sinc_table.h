// The resampler's filter at every place between two frames.
#pragma once

#include <cstdint>
#include <memory>

#include "kilter/base/units.h"
#include "kilter/signal/fft.h"

namespace kilter {

/// What tells one table from another. Frequencies count from the half rate that limits the sound:
/// the track's own, or 1 / stretch of it.
struct SincShape {
  double stretch{1.0};         // track frames per frame of the lower rate, from 1 to 128
  double pass_share{5.0 / 6};  // end of the pass band, below 1; its mirror image is the stop band
  bool operator==(const SincShape&) const = default;
};

/// For a span that takes `frames_per_out` track frames to an output frame.
SincShape sinc_shape(SampleRate in_rate, SampleRate out_rate, double frames_per_out);

/// A Kaiser-windowed sinc by its distance from the place asked for, cut into cells: inside each,
/// every tap is a parabola of the place's offset from the cell's middle, in cells from -1/2 to 1/2:
///
///     weight = value + offset * (slope + offset * bend)
///
/// Immutable and safe to use from many threads.
class SincTable {
 public:
  explicit SincTable(const SincShape& shape);
  /// The one that others in use have, or a new one. Locks out other callers meanwhile (some ten
  /// milliseconds). Memory is given back with the last user.
  static std::shared_ptr<const SincTable> shared(const SincShape& shape);

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
