#pragma once

#include <cstdint>
#include <span>

namespace kilter::media {

/// Samples, full scale at +-1, as whole steps of a signed format of `bits` (2 to 24) bits: rounded
/// to nearest, ties to even, and saturated; NaN becomes 0. `steps` is as long as `samples`. Returns
/// how many lay beyond full scale; +1 does not, though the highest step is one below it.
std::int64_t quantise(std::span<const float> samples, int bits, std::int32_t* steps);

/// The same after triangular noise within +-1 step was added, but for samples of exactly 0.
/// `first` is the number of the first sample in its file, by which and by `seed` alone the noise is
/// chosen. Returns how many lay beyond full scale before.
std::int64_t quantise_dithered(std::span<const float> samples, int bits, std::uint64_t seed,
                               std::uint64_t first, std::int32_t* steps);

}  // namespace kilter::media
