// A track's sound between its frames.
#pragma once

#include <cstdint>
#include <memory>
#include <span>

#include "frame_position.h"
#include "kilter/base/units.h"

namespace kilter {

/// What the sound must go through, and what must not get through.
struct InterpolatorShape {
  double stretch{1.0};         // track frames per frame of the lower rate, from 1 to 128
  double pass_share{5.0 / 6};  // end of the pass band, in half rates of the lower rate, below 1
  bool rates_differ{false};
  bool operator==(const InterpolatorShape&) const = default;
};

/// For a span that takes `frames_per_out` track frames to an output frame.
InterpolatorShape interpolator_shape(SampleRate in_rate, SampleRate out_rate,
                                     double frames_per_out);

/// Immutable and safe to use from many threads.
class Interpolator {
 public:
  virtual ~Interpolator() = default;
  /// The one that others in use have, or a new one. Locks out other callers meanwhile (some ten
  /// milliseconds). Memory is given back with the last user.
  static std::shared_ptr<const Interpolator> shared(const InterpolatorShape& shape);

  /// An output depends on half() - 1 frames before the frame at its place or before it, on that
  /// frame, and on half() frames after it.
  virtual std::int64_t half() const = 0;
  /// See fir_kernels.h; `input[0]` lies half() - 1 frames before frame 0 of the positions, and
  /// kReadableBeyond frames beyond the last one that matters must be readable.
  virtual void interpolate(const float* input, FramePosition at, const FramePosition& step,
                           std::span<float> out) const = 0;
};

}  // namespace kilter
