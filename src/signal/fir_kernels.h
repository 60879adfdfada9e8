// The resampler's inner loops.
#pragma once

#include <cstdint>
#include <span>

#include "frame_position.h"
#include "sinc_table.h"

namespace kilter {

/// So many frames beyond the last one that has a weight must be readable; what they hold does not
/// matter.
constexpr std::int64_t kReadableBeyond = 24;

/// Fills `out` with what lies at `at` and every `step` after it, as `table` interpolates. Frame 0
/// of the positions is `input[0]`, and the first tap lies there: an output at frame n uses
/// `input[n]` to `input[n + taps() - 1]`. Fewer than 2^32 outputs.
///
/// The same bits for every way of cutting a long `out` into short ones, and whichever of the two
/// below is called.
using Interpolate = void(const SincTable& table, const float* input, FramePosition at,
                         const FramePosition& step, std::span<float> out);

/// With what instructions every processor of this kind has.
Interpolate interpolate_plainly;
/// With the best ones that the processor at hand has.
Interpolate interpolate;

}  // namespace kilter
