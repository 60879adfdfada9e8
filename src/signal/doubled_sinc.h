// The resampler's filters where no sound has to be left out: in two steps.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "kilter/signal/fft.h"

namespace kilter {

/// Which sounds the filters keep apart from their images. Both count from the track's half rate.
struct DoubledShape {
  double pass_share{5.0 / 6};   // end of the pass band, below 1; its mirror image is the stop band
  double image_share{5.0 / 6};  // end of what must leave no image, from pass_share to its mirror
  bool operator==(const DoubledShape&) const = default;
};

/// What lies halfway between two frames, a *middle*, by one Kaiser-windowed sinc, which is the same
/// for all of them; then, between frames and middles, a grid twice as fine, by a much shorter
/// filter. The longer takes one multiplication per tap, being the same everywhere; the shorter,
/// which is another everywhere, has few taps, since on the finer grid sound and images lie far
/// apart.
///
/// The shorter is cut into cells, 2^kCellBits between two frames; inside each, every tap is a line
/// of the place's offset from the cell's middle, in cells from -1/2 to 1/2.
///
/// Immutable and safe to use from many threads.
class DoubledSinc {
 public:
  static constexpr int kCellBits = 12;

  explicit DoubledSinc(const DoubledShape& shape);

  /// Frames that an output depends on: tap half() - 1 lies on the frame at or before the place.
  std::int64_t taps() const { return 2 * half(); }
  std::int64_t half() const { return std::ssize(middle_) / 2 + fine_taps_ / 4; }

  /// A multiple of 8; the two in the middle lie on the frames around the place.
  std::span<const float> middle_weights() const { return middle_; }
  /// 16 or 32, half of them on frames.
  std::int64_t fine_taps() const { return fine_taps_; }
  /// A row of 2 * fine_taps() numbers per cell: the values of the taps on frames, of those on
  /// middles, then the slopes likewise.
  const float* rows() const { return rows_.data(); }
  /// That of a place so far behind a frame.
  static std::int64_t cell_of(std::uint64_t fraction) {
    return static_cast<std::int64_t>(fraction >> (64 - kCellBits));
  }

 private:
  FftVector<float> middle_;
  std::int64_t fine_taps_;
  FftVector<float> rows_;
};

}  // namespace kilter
