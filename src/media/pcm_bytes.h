// Whole numbers as a WAV stores them, turned into samples many at a time.
#pragma once

#include <sndfile.h>

#include <span>

namespace kilter::media {

/// Of one sample, where a file holds nothing but little-endian numbers of 16, 24 or 32 bits and the
/// processor has them the same way round; 0 elsewhere.
int pcm_bytes_per_sample(SNDFILE* handle, const SF_INFO& header);

/// Fractions of full scale, as sf_read_float() gives them to the last bit. `bytes` are those of
/// `out.size()` samples, of 2, 3 or 4 bytes each.
void samples_of_pcm(std::span<const char> bytes, int bytes_per_sample, std::span<float> out);

}  // namespace kilter::media
