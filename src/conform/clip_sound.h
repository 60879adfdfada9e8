// The sound of a listening clip: mix and stem side by side.
#pragma once

#include <span>
#include <vector>

namespace kilter::conform {

/// All channels of interleaved sound together: their mean, or where that cancels, as where one side
/// is upside down, the loudest alone.
std::vector<float> together(std::span<const float> interleaved, int channels);

/// How loud it speaks: 95 % of its stretches of 50 ms have no more power.
double speech_power(std::span<const float> sound, double rate_hz);

/// Both, equally long, as stereo: the right turned to the level at which the left speaks, 30 dB up
/// or down at most, then both down where either would go beyond full scale.
std::vector<float> beside(std::span<const float> left, std::span<const float> right,
                          double rate_hz);

/// Of a minute in powers of a second each: at which second the first stretch of `seconds` begins
/// that has half the power of the loudest, or the last one. 0 for fewer powers than that.
std::size_t talk_second(std::span<const double> powers, std::size_t seconds, bool last);

}  // namespace kilter::conform
