// The resampler's inner loops.
#pragma once

#include <cstdint>
#include <span>

#include "doubled_sinc.h"
#include "frame_position.h"
#include "sinc_table.h"

namespace kilter {

/// So many frames beyond the last one that has a weight must be readable; what they hold does not
/// matter.
constexpr std::int64_t kReadableBeyond = 48;

/// Each fills `out` with what lies at `at` and every `step` after it, as the filter interpolates.
/// Frame 0 of the positions is `input[0]`, and the first tap lies there: an output at frame n uses
/// `input[n]` to `input[n + taps() - 1]`. Fewer than 2^32 outputs.
///
/// Products are added with one rounding (fused multiply-add) on every processor, so that results
/// are the same bits whichever function of a pair is called, and for every way of cutting a long
/// `out` into short ones. Where a processor cannot, doing it by hand takes some twenty times as
/// long.
template <typename Filter>
using Interpolate = void(const Filter& filter, const float* input, FramePosition at,
                         const FramePosition& step, std::span<float> out);

/// With what instructions every processor of this kind has.
Interpolate<SincTable> interpolate_plainly;
Interpolate<DoubledSinc> interpolate_plainly;
/// With the best ones that the processor at hand has.
Interpolate<SincTable> interpolate;
Interpolate<DoubledSinc> interpolate;

}  // namespace kilter
