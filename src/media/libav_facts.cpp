#include "libav_facts.h"

extern "C" {
#include <libavutil/mathematics.h>
#include <libavutil/timecode.h>
}

#include <algorithm>
#include <string>

#include "reading_limits.h"

namespace kilter::media {
namespace {

const char* codec_label(AVCodecID codec) {
  switch (codec) {
    case AV_CODEC_ID_AAC:
      return "AAC";
    case AV_CODEC_ID_OPUS:
      return "Opus";
    case AV_CODEC_ID_VORBIS:
      return "Vorbis";
    case AV_CODEC_ID_MP3:
      return "MP3";
    case AV_CODEC_ID_MP2:
      return "MP2";
    case AV_CODEC_ID_MP1:
      return "MP1";
    case AV_CODEC_ID_ALAC:
      return "ALAC";
    case AV_CODEC_ID_FLAC:
      return "FLAC";
    case AV_CODEC_ID_AC3:
      return "AC-3";
    case AV_CODEC_ID_EAC3:
      return "E-AC-3";
    case AV_CODEC_ID_WAVPACK:
      return "WavPack";
    case AV_CODEC_ID_TTA:
      return "TTA";
    case AV_CODEC_ID_AMR_NB:
    case AV_CODEC_ID_AMR_WB:
      return "AMR";
    default:
      break;
  }
  return is_windows_media(codec) ? "WMA" : nullptr;
}

std::string format_label(const std::string& container, const AVCodecParameters& codec) {
  const char* known = codec_label(codec.codec_id);
  std::string coded = known != nullptr ? known : avcodec_get_name(codec.codec_id);
  const int bits = av_get_exact_bits_per_sample(codec.codec_id);
  if (known == nullptr && bits > 0) coded = std::to_string(bits) + "-bit";
  // An MP3 file, say, is a container of its own kind.
  if (container.empty() || container == "MP3" || container == "AAC" || container == coded)
    return coded;
  return container + ' ' + coded;
}

/// Coders that put sound late and leave it to the container to say by how much.
bool needs_stated_lead_in(AVCodecID codec) {
  return codec == AV_CODEC_ID_AAC || codec == AV_CODEC_ID_MP3 || codec == AV_CODEC_ID_MP2 ||
         codec == AV_CODEC_ID_AC3 || codec == AV_CODEC_ID_EAC3;
}

bool is_picture(const AVStream& stream) {
  return stream.codecpar->codec_type == AVMEDIA_TYPE_VIDEO &&
         (stream.disposition & AV_DISPOSITION_ATTACHED_PIC) == 0;  // such are covers
}

bool has_picture(const AVFormatContext& format) {
  return std::any_of(format.streams, format.streams + format.nb_streams,
                     [](const AVStream* stream) { return is_picture(*stream); });
}

std::int64_t claimed_frames(const AVFormatContext& format, const AVStream& stream, int rate_hz) {
  if (format.duration_estimation_method == AVFMT_DURATION_FROM_BITRATE) return 0;
  const AVRational frame{1, rate_hz};
  std::int64_t frames = 0;
  if (stream.duration != AV_NOPTS_VALUE)
    frames = av_rescale_q(stream.duration, stream.time_base, frame);
  else if (format.duration != AV_NOPTS_VALUE &&
           !has_picture(format))  // which may outlast the sound
    frames = av_rescale_q(format.duration, AVRational{1, AV_TIME_BASE}, frame);
  return sensible_length(frames, rate_hz);
}

/// The first picture's timecode, from a timecode track or a tag: cameras write either.
std::optional<double> timecode_s(const AVFormatContext& format, const AVStream& picture) {
  const AVRational rate = picture.avg_frame_rate;
  if (rate.num <= 0 || rate.den <= 0) return std::nullopt;
  const AVDictionaryEntry* tag = av_dict_get(picture.metadata, "timecode", nullptr, 0);
  if (tag == nullptr) tag = av_dict_get(format.metadata, "timecode", nullptr, 0);
  for (unsigned i = 0; tag == nullptr && i < format.nb_streams; ++i)
    tag = av_dict_get(format.streams[i]->metadata, "timecode", nullptr, 0);
  if (tag == nullptr) return std::nullopt;
  AVTimecode timecode{};
  if (av_timecode_init_from_string(&timecode, rate, tag->value, nullptr) < 0) return std::nullopt;
  return timecode.start / av_q2d(rate);
}

void describe_video(const AVFormatContext& format, std::optional<double> sound_s, AudioInfo& info) {
  for (unsigned i = 0; i < format.nb_streams; ++i) {
    const AVStream& stream = *format.streams[i];
    if (!is_picture(stream)) continue;
    info.has_video = true;
    if (stream.avg_frame_rate.num > 0 && stream.avg_frame_rate.den > 0)
      info.video_fps = av_q2d(stream.avg_frame_rate);
    info.timecode_s = timecode_s(format, stream);
    if (sound_s && stream.start_time != AV_NOPTS_VALUE)
      info.start_in_file_s =
          *sound_s - static_cast<double>(stream.start_time) * av_q2d(stream.time_base);
    return;
  }
}

int count_sounds(const AVFormatContext& format) {
  int count = 0;
  for (unsigned i = 0; i < format.nb_streams; ++i)
    if (format.streams[i]->codecpar->codec_type == AVMEDIA_TYPE_AUDIO) ++count;
  return count;
}

int whole_number_bits(const AVCodecParameters& codec) {
  const AVSampleFormat format = av_get_packed_sample_fmt(static_cast<AVSampleFormat>(codec.format));
  if (is_lossy(codec.codec_id) || format == AV_SAMPLE_FMT_FLT || format == AV_SAMPLE_FMT_DBL)
    return 0;
  return codec.bits_per_raw_sample > 0 ? codec.bits_per_raw_sample
                                       : 8 * av_get_bytes_per_sample(format);
}

}  // namespace

double tick_frames(const AVStream& stream, int rate_hz) {
  return av_q2d(stream.time_base) * rate_hz;
}

bool is_lossy(AVCodecID codec) {
  const AVCodecDescriptor* descriptor = avcodec_descriptor_get(codec);
  return descriptor == nullptr || (descriptor->props & AV_CODEC_PROP_LOSSLESS) == 0;
}

bool is_windows_media(AVCodecID codec) {
  return codec == AV_CODEC_ID_WMAV1 || codec == AV_CODEC_ID_WMAV2 || codec == AV_CODEC_ID_WMAPRO ||
         codec == AV_CODEC_ID_WMALOSSLESS;
}

AudioInfo facts_of(const OpenedByLibav& opened, int rate_hz, int channels,
                   std::optional<std::int64_t> first_stamp, bool skips_lead_in) {
  const AVCodecID codec = opened.stream->codecpar->codec_id;
  AudioInfo info;
  info.format = format_label(opened.container, *opened.stream->codecpar);
  info.rate = {static_cast<double>(rate_hz)};
  info.channels = channels;
  info.claimed_length = {claimed_frames(*opened.format, *opened.stream, rate_hz)};
  info.lossy = is_lossy(codec);
  info.bits = whole_number_bits(*opened.stream->codecpar);
  info.has_lead_in = needs_stated_lead_in(codec) && !skips_lead_in;
  info.further_sounds = count_sounds(*opened.format) - 1;
  std::optional<double> sound_s;
  if (first_stamp) sound_s = to_seconds({*first_stamp}, info.rate).s;
  describe_video(*opened.format, sound_s, info);
  return info;
}

}  // namespace kilter::media
