// How much later one signal holds what another holds.
#pragma once

#include <span>

namespace kilter::simulator {

/// Mean delay of `later` against `earlier`, in seconds: whole frames (within +-4000) from the
/// cross-correlation, the rest from the phase over 120 to 7200 Hz (or 0.45 of a lower rate), each
/// frequency counting as much as the two signals agree there. Both of the same rate and sound, one
/// through a codec. A delay that depends on the frequency is averaged. 0 for silence.
double mean_delay_s(std::span<const float> earlier, std::span<const float> later, double rate_hz);

}  // namespace kilter::simulator
