// Decoded frames as interleaved floats.
#pragma once

#include <vector>

struct AVFrame;

namespace kilter::media {

/// Full scale at +-1; integers are scaled by 2^(bits-1). Empty for a sample format we do not know.
std::vector<float> interleaved_samples(const AVFrame& frame);

}  // namespace kilter::media
