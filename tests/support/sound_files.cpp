#include "support/sound_files.h"

#include <sndfile.h>

#include <cmath>
#include <numbers>
#include <stdexcept>

namespace kilter::test {

void write_sound(const std::filesystem::path& file, const std::vector<Samples>& channels,
                 int rate_hz, int format) {
  SF_INFO info{};
  info.samplerate = rate_hz;
  info.channels = static_cast<int>(channels.size());
  info.format = format;
  SNDFILE* out = sf_open(file.c_str(), SFM_WRITE, &info);
  if (out == nullptr) throw std::runtime_error(sf_strerror(nullptr));
  Samples interleaved;
  for (std::size_t i = 0; i < channels.front().size(); ++i)
    for (const Samples& channel : channels) interleaved.push_back(channel.at(i));
  const auto frames = static_cast<sf_count_t>(channels.front().size());
  sf_command(out, SFC_SET_CLIPPING, nullptr, SF_TRUE);
  const bool written = sf_writef_float(out, interleaved.data(), frames) == frames;
  if (sf_close(out) != 0 || !written) throw std::runtime_error("sound file not written");
}

void write_sound(const std::filesystem::path& file, const std::vector<Samples>& channels,
                 int rate_hz) {
  write_sound(file, channels, rate_hz, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
}

Samples noise(std::size_t frames, float amplitude, std::uint32_t seed) {
  Samples samples(frames);
  std::uint32_t state = seed * 2654435761U + 1U;
  for (float& x : samples) {
    state = state * 1664525U + 1013904223U;
    x = amplitude * (static_cast<float>(state >> 8U) / 8388608.0F - 1.0F);
  }
  return samples;
}

Samples sine(std::size_t frames, double frequency_hz, double rate_hz, double amplitude) {
  Samples samples(frames);
  const double step = 2.0 * std::numbers::pi * frequency_hz / rate_hz;
  for (std::size_t i = 0; i < frames; ++i)
    samples[i] = static_cast<float>(amplitude * std::sin(step * static_cast<double>(i)));
  return samples;
}

}  // namespace kilter::test
