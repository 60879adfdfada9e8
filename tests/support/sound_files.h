#pragma once

#include <cstdint>
#include <filesystem>
#include <vector>

namespace kilter::test {

using Samples = std::vector<float>;

/// Writes channels of equal length through libsndfile. `format` is libsndfile's, for example
/// SF_FORMAT_WAV | SF_FORMAT_PCM_16. Throws where that fails.
void write_sound(const std::filesystem::path& file, const std::vector<Samples>& channels,
                 int rate_hz, int format);
/// The same as 32-bit float WAV, which keeps every sample.
void write_sound(const std::filesystem::path& file, const std::vector<Samples>& channels,
                 int rate_hz);

/// White noise, uniform in +-amplitude: another for each seed.
Samples noise(std::size_t frames, float amplitude, std::uint32_t seed);
Samples sine(std::size_t frames, double frequency_hz, double rate_hz, double amplitude);

}  // namespace kilter::test
