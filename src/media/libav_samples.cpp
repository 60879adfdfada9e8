#include "libav_samples.h"

extern "C" {
#include <libavutil/frame.h>
#include <libavutil/samplefmt.h>
}

#include <cstddef>
#include <cstdint>

namespace kilter::media {
namespace {

float to_float(std::uint8_t sample) { return static_cast<float>(sample - 128) / 128.0F; }
float to_float(std::int16_t sample) { return static_cast<float>(sample) / 32768.0F; }
float to_float(std::int32_t sample) { return static_cast<float>(sample) / 2147483648.0F; }
float to_float(float sample) { return sample; }
float to_float(double sample) { return static_cast<float>(sample); }

template <typename Sample>
std::vector<float> interleave(const AVFrame& frame, bool planar) {
  const auto channels = static_cast<std::size_t>(frame.ch_layout.nb_channels);
  const auto frames = static_cast<std::size_t>(frame.nb_samples);
  std::vector<float> sound(frames * channels);
  for (std::size_t c = 0; c < channels; ++c) {
    const std::size_t plane = planar ? c : 0;
    const std::size_t first = planar ? 0 : c;
    const std::size_t step = planar ? 1 : channels;
    const auto* samples = reinterpret_cast<const Sample*>(frame.extended_data[plane]) + first;
    for (std::size_t i = 0; i < frames; ++i) sound[i * channels + c] = to_float(samples[i * step]);
  }
  return sound;
}

}  // namespace

std::vector<float> interleaved_samples(const AVFrame& frame) {
  const auto format = static_cast<AVSampleFormat>(frame.format);
  const bool planar = av_sample_fmt_is_planar(format) != 0;
  switch (av_get_packed_sample_fmt(format)) {
    case AV_SAMPLE_FMT_U8:
      return interleave<std::uint8_t>(frame, planar);
    case AV_SAMPLE_FMT_S16:
      return interleave<std::int16_t>(frame, planar);
    case AV_SAMPLE_FMT_S32:
      return interleave<std::int32_t>(frame, planar);
    case AV_SAMPLE_FMT_FLT:
      return interleave<float>(frame, planar);
    case AV_SAMPLE_FMT_DBL:
      return interleave<double>(frame, planar);
    default:
      return {};
  }
}

}  // namespace kilter::media
