#include "libav_open.h"

extern "C" {
#include <libavutil/avstring.h>
#include <libavutil/error.h>
#include <libavutil/log.h>
#include <libavutil/opt.h>
}

#include <cerrno>
#include <cstddef>
#include <cstdint>
#include <mutex>
#include <utility>

#include "container_names.h"
#include "reading_limits.h"

namespace kilter::media {
namespace {

// What people record talk with. No playlists, no subtitles, nothing that names other files.
constexpr const char* kContainers =
    "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,aac,asf,amr,amrnb,amrwb,wav,w64,caf,ogg,mp3,flac,aiff,"
    "ac3,eac3,wv,tta,avi,flv,mpeg,mpegts";
constexpr const char* kDecoders =
    "aac,alac,flac,opus,vorbis,mp1float,mp2float,mp3float,mp1,mp2,mp3,ac3,eac3,wmav1,wmav2,wmapro,"
    "wmalossless,wavpack,tta,amrnb,amrwb,pcm_u8,pcm_s8,pcm_s16le,pcm_s16be,pcm_s24le,pcm_s24be,pcm_"
    "s32le,"
    "pcm_s32be,pcm_f32le,pcm_f32be,pcm_f64le,pcm_f64be,pcm_alaw,pcm_mulaw,adpcm_ms,adpcm_ima_wav,"
    "adpcm_ima_qt";
constexpr std::int64_t kProbeBytes = 5 << 20;
constexpr std::int64_t kProbe_us = 10 * 1000000;
constexpr int kMostStreams = 64;
constexpr std::size_t kLargestBlock = std::size_t{512} << 20;

void prepare_library() {
  static std::once_flag once;
  std::call_once(once, [] {
    av_log_set_level(AV_LOG_QUIET);
    av_max_alloc(kLargestBlock);
  });
}

int refuse_other_files(AVFormatContext*, AVIOContext**, const char*, int, AVDictionary**) {
  return AVERROR(EPERM);
}

Error not_opened(FileInput& file, int code) {
  const std::string name = container_name(head_of(file)).value_or("audio");
  return unreadable(file.file(),
                    "it begins like " + name + " but cannot be read (" + libav_words(code) + ")",
                    "copy it again from where it was recorded: a recording that was not ended, or "
                    "not copied whole, lacks what stands at its end");
}

Result<FormatHandle> open_container(LibavIo& io) {
  AVFormatContext* context = avformat_alloc_context();
  if (context == nullptr) return not_opened(io.file(), AVERROR(ENOMEM));
  context->pb = io.context();
  context->io_open = refuse_other_files;
  context->flags |= AVFMT_FLAG_CUSTOM_IO;
  context->probesize = kProbeBytes;
  context->max_analyze_duration = kProbe_us;
  context->max_streams = kMostStreams;
  context->format_whitelist = av_strdup(kContainers);
  context->codec_whitelist = av_strdup(kDecoders);
  context->protocol_whitelist = av_strdup("none");
  // Frees the context itself where it fails. The name helps telling raw streams apart.
  const std::string name = io.file().file().filename().string();
  const int opened = avformat_open_input(&context, name.c_str(), nullptr, nullptr);
  if (opened < 0) return not_opened(io.file(), opened);
  FormatHandle handle(context);
  const int found = avformat_find_stream_info(context, nullptr);
  if (found < 0) return not_opened(io.file(), found);
  return handle;
}

Error no_decoder(const std::filesystem::path& file, AVCodecID codec) {
  if (codec == AV_CODEC_ID_NONE)
    return unreadable(file, "its sound is coded in a way we do not know, or protected",
                      "convert it to WAV or FLAC with a program that plays it");
  return unreadable(
      file, std::string("its sound is coded as ") + avcodec_get_name(codec) + ", which is not read",
      "convert it to WAV or FLAC");
}

/// The stream of sound to read; all others are passed over.
Result<AVStream*> choose_stream(const std::filesystem::path& file, AVFormatContext& format) {
  const int best = av_find_best_stream(&format, AVMEDIA_TYPE_AUDIO, -1, -1, nullptr, 0);
  if (best < 0)
    return unreadable(file, "there is no sound in it",
                      "take it out of the session, or record it with sound");
  for (unsigned i = 0; i < format.nb_streams; ++i)
    if (static_cast<int>(i) != best) format.streams[i]->discard = AVDISCARD_ALL;
  return format.streams[best];
}

Result<DecoderHandle> open_decoder(FileInput& file, const AVStream& stream) {
  const AVCodecID id = stream.codecpar->codec_id;
  const AVCodec* codec = avcodec_find_decoder(id);
  if (codec == nullptr || av_match_name(codec->name, kDecoders) == 0)
    return no_decoder(file.file(), id);
  DecoderHandle decoder(avcodec_alloc_context3(codec));
  if (!decoder) return not_opened(file, AVERROR(ENOMEM));
  if (const int code = avcodec_parameters_to_context(decoder.get(), stream.codecpar); code < 0)
    return not_opened(file, code);
  decoder->pkt_timebase = stream.time_base;  // lead-in is cut by it
  decoder->thread_count = 1;
  // Levels as they were recorded, where a coder would ride them.
  av_opt_set_double(decoder.get(), "drc_scale", 0.0, AV_OPT_SEARCH_CHILDREN);
  if (const int code = avcodec_open2(decoder.get(), codec, nullptr); code < 0)
    return not_opened(file, code);
  return decoder;
}

}  // namespace

std::string libav_words(int code) {
  char text[AV_ERROR_MAX_STRING_SIZE] = {};
  av_strerror(code, text, sizeof text);
  return std::string("FFmpeg: ") + text;
}

Result<OpenedByLibav> open_by_libav(const std::shared_ptr<FileInput>& input) {
  prepare_library();
  OpenedByLibav opened;
  opened.container = container_name(head_of(*input)).value_or("");
  opened.io = std::make_unique<LibavIo>(input);
  if (opened.io->context() == nullptr) return not_opened(*input, AVERROR(ENOMEM));
  auto format = open_container(*opened.io);
  if (!format) return format.error();
  opened.format = *std::move(format);
  auto stream = choose_stream(input->file(), *opened.format);
  if (!stream) return stream.error();
  opened.stream = *stream;
  auto decoder = open_decoder(*input, *opened.stream);
  if (!decoder) return decoder.error();
  opened.decoder = *std::move(decoder);
  if (!opened.packet || !opened.frame) return not_opened(*input, AVERROR(ENOMEM));
  return opened;
}

}  // namespace kilter::media
