#include "libav_source.h"

extern "C" {
#include <libavutil/avstring.h>
#include <libavutil/error.h>
#include <libavutil/intreadwrite.h>
#include <libavutil/log.h>
#include <libavutil/mathematics.h>
#include <libavutil/opt.h>
#include <libavutil/timecode.h>
}

#include <algorithm>
#include <cassert>
#include <cerrno>
#include <cmath>
#include <cstddef>
#include <deque>
#include <limits>
#include <mutex>
#include <utility>
#include <vector>

#include "claimed_size.h"
#include "container_names.h"
#include "kilter/base/system_words.h"
#include "libav_handles.h"
#include "libav_io.h"
#include "libav_samples.h"
#include "non_numbers.h"
#include "reading_limits.h"
#include "stamp_keeper.h"

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

// Pieces in sight: a late stamp is told from a leap by those that follow it.
constexpr std::size_t kLookAhead = 6;
constexpr double kJump_s = 0.010;
constexpr double kJumpTicks = 2.0;
// Its packets hold parts of frames, so that stamps stray by a frame or two.
constexpr double kWindowsMediaJump_s = 0.2;
// Overlaps are packets that came twice. Stamps that go back further were started anew.
constexpr double kMostOverlap_s = 10.0;
// A hundred bytes may claim hours: silence is believed as long as sound bears it out.
constexpr double kSilenceBeyondSound_s = 3600.0;
constexpr std::size_t kMostJumpsKept = 10000;
constexpr int kMostIdlePackets = 20000;
constexpr int kMostReadErrors = 100;
// A container's rounding is less, and what coders put before and behind the sound.
constexpr double kClaimRoundsBy_s = 0.1;
constexpr std::int64_t kMostPadding_frames = 4096;

std::string words_for(int code) {
  char text[AV_ERROR_MAX_STRING_SIZE] = {};
  av_strerror(code, text, sizeof text);
  return std::string("FFmpeg: ") + text;
}

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

struct Unpacked {
  std::vector<float> sound;
  Stamped stamped;
  std::int64_t lasts{0};  // what the container says, in frames; 0 where it does not
};

/// What was opened, in the order in which it must be closed.
struct Opened {
  std::string container;  // by its first bytes; empty where they tell nothing
  std::unique_ptr<LibavIo> io;
  FormatHandle format;
  DecoderHandle decoder;
  PacketHandle packet{av_packet_alloc()};
  FrameHandle frame{av_frame_alloc()};
  AVStream* stream{nullptr};
};

/// Packets in, pieces of sound out.
class Decoder {
 public:
  Decoder(Opened opened, std::filesystem::path file, ReadNotes& notes)
      : opened_(std::move(opened)), file_(std::move(file)), notes_(notes) {}

  /// The next piece, or nothing at the end; failure() then says whether it was a good one.
  std::optional<Unpacked> next() {
    while (!ended_) {
      const int got = avcodec_receive_frame(opened_.decoder.get(), opened_.frame.get());
      if (got == AVERROR(EAGAIN)) {
        feed();
      } else if (got == AVERROR_EOF) {
        ended_ = true;
      } else if (got < 0) {
        note_loss(got);
      } else if (auto piece = unpack()) {
        idle_ = 0;
        loss_at_end_ = false;
        frames_ += piece->stamped.frames;
        return piece;
      }
    }
    return std::nullopt;
  }
  const std::optional<Error>& failure() const { return failure_; }
  int rate_hz() const { return rate_hz_; }
  int channels() const { return channels_; }
  bool skips_lead_in() const { return skips_lead_in_; }
  /// Whether what came last could not be decoded, as where the file's end cuts it.
  bool loss_at_end() const { return loss_at_end_; }
  const Opened& opened() const { return opened_; }

 private:
  void stop(const std::string& words) {
    failure_ = damaged(file_, frames_, words);
    ended_ = true;
  }

  void note_loss(int code) {
    loss_at_end_ = true;
    if (notes_.lost_packets++ == 0) notes_.first_loss = words_for(code);
    if (++idle_ > kMostIdlePackets) stop(words_for(code));
  }

  void feed() {
    AVPacket* packet = opened_.packet.get();
    const int got = flushing_ ? AVERROR_EOF : av_read_frame(opened_.format.get(), packet);
    if (got == AVERROR_EOF) {
      flush();
    } else if (got < 0) {
      if (++read_errors_ > kMostReadErrors || got == AVERROR(EIO)) {
        failure_ = damaged(file_, frames_, words_for(got));
        flush();
      }
    } else {
      if (packet->stream_index == opened_.stream->index) send();
      av_packet_unref(packet);
      if (++idle_ > kMostIdlePackets) stop("FFmpeg finds packets, but no sound in them");
    }
    // Some demuxers take that for the end, some go on behind it.
    if (const int problem = opened_.io->file().problem(); problem != 0 && !ended_) {
      failure_ = damaged(file_, frames_, system_words(problem));
      flush();
    }
  }

  void flush() {
    if (std::exchange(flushing_, true) || avcodec_send_packet(opened_.decoder.get(), nullptr) < 0)
      ended_ = true;
  }

  void send() {
    AVPacket* packet = opened_.packet.get();
    if (!std::exchange(fed_, true)) note_lead_in();
    const bool cut = (packet->flags & AV_PKT_FLAG_CORRUPT) != 0;
    const int code = cut ? AVERROR_INVALIDDATA : avcodec_send_packet(opened_.decoder.get(), packet);
    if (code < 0) note_loss(code);
  }

  void note_lead_in() {
    std::size_t size = 0;
    const std::uint8_t* skip =
        av_packet_get_side_data(opened_.packet.get(), AV_PKT_DATA_SKIP_SAMPLES, &size);
    skips_lead_in_ = skip != nullptr && size >= 4 && AV_RL32(skip) > 0;
  }

  /// Nothing for an empty frame, and where the sound changes its kind.
  std::optional<Unpacked> unpack() {
    const AVFrame& frame = *opened_.frame;
    if (frame.nb_samples <= 0) return std::nullopt;
    if (rate_hz_ == 0) {
      rate_hz_ = frame.sample_rate;
      channels_ = frame.ch_layout.nb_channels;
      if ((failure_ = beyond_limits(file_, rate_hz_, channels_))) ended_ = true;
    } else if (rate_hz_ != frame.sample_rate || channels_ != frame.ch_layout.nb_channels) {
      stop("its sample rate or its number of channels changes there");
    }
    if (ended_) return std::nullopt;
    Unpacked piece;
    piece.sound = interleaved_samples(frame);
    if (piece.sound.empty()) {
      stop("its samples are of a kind we do not know");
      return std::nullopt;
    }
    piece.stamped.frames = frame.nb_samples;
    piece.stamped.stamp = in_frames(frame.best_effort_timestamp);
#if LIBAVUTIL_VERSION_INT >= AV_VERSION_INT(57, 30, 100)
    piece.lasts = in_frames(frame.duration).value_or(0);
#else
    piece.lasts = in_frames(frame.pkt_duration).value_or(0);
#endif
    return piece;
  }

  std::optional<std::int64_t> in_frames(std::int64_t ticks) const {
    if (ticks == AV_NOPTS_VALUE) return std::nullopt;
    const std::int64_t frames =
        av_rescale_q(ticks, opened_.stream->time_base, AVRational{1, rate_hz_});
    // Further than any file lasts, and where sums of two might overflow.
    constexpr std::int64_t kFar = std::int64_t{1} << 60;
    if (frames < -kFar || frames > kFar) return std::nullopt;
    return frames;
  }

  Opened opened_;
  std::filesystem::path file_;
  ReadNotes& notes_;
  int rate_hz_{0};
  int channels_{0};
  std::int64_t frames_{0};
  bool fed_{false};
  bool skips_lead_in_{false};
  bool loss_at_end_{false};
  bool flushing_{false};
  bool ended_{false};
  int idle_{0};  // packets since the last sound
  int read_errors_{0};
  std::optional<Error> failure_;
};

double tick_frames(const AVStream& stream, int rate_hz) {
  return av_q2d(stream.time_base) * rate_hz;
}

bool is_lossy(AVCodecID codec) {
  const AVCodecDescriptor* descriptor = avcodec_descriptor_get(codec);
  return descriptor == nullptr || (descriptor->props & AV_CODEC_PROP_LOSSLESS) == 0;
}

int whole_number_bits(const AVCodecParameters& codec) {
  const AVSampleFormat format = av_get_packed_sample_fmt(static_cast<AVSampleFormat>(codec.format));
  if (is_lossy(codec.codec_id) || format == AV_SAMPLE_FMT_FLT || format == AV_SAMPLE_FMT_DBL)
    return 0;
  return codec.bits_per_raw_sample > 0 ? codec.bits_per_raw_sample
                                       : 8 * av_get_bytes_per_sample(format);
}

bool is_windows_media(AVCodecID codec) {
  return codec == AV_CODEC_ID_WMAV1 || codec == AV_CODEC_ID_WMAV2 || codec == AV_CODEC_ID_WMAPRO ||
         codec == AV_CODEC_ID_WMALOSSLESS;
}

StampKeeper::Tolerance tolerance_for(const AVStream& stream, int rate_hz) {
  const double tick = tick_frames(stream, rate_hz);
  const double jump_s = is_windows_media(stream.codecpar->codec_id) ? kWindowsMediaJump_s : kJump_s;
  return {std::llround(std::max(jump_s * rate_hz, kJumpTicks * tick)), tick,
          std::llround(kMostOverlap_s * rate_hz)};
}

class LibavSource final : public FileSource {
 public:
  LibavSource(Opened opened, const std::filesystem::path& file)
      : file_(file), decoder_(std::move(opened), file, notes_) {}

  /// Decodes the first pieces: only they tell rate and channels for certain.
  std::optional<Error> start() {
    if (const auto first = look_ahead(); !first) {
      if (decoder_.failure()) return *decoder_.failure();
      return unreadable(file_, "it holds no sound that can be decoded",
                        "check that it plays elsewhere, or copy it again");
    }
    keeper_.emplace(tolerance_for(*decoder_.opened().stream, decoder_.rate_hz()));
    return std::nullopt;
  }
  const Decoder& decoder() const { return decoder_; }
  std::optional<std::int64_t> first_stamp() const { return ahead_.front().stamped.stamp; }
  void note_break() { notes_.breaks_off = true; }
  void claim(Frames length) { claimed_length_ = length; }

  SampleRate rate() const override { return {static_cast<double>(decoder_.rate_hz())}; }
  int channels() const override { return decoder_.channels(); }
  Frames claimed_length() const override { return claimed_length_; }
  const ReadNotes& notes() const override { return notes_; }

  Result<Frames> read(std::span<float> interleaved) override {
    assert(std::ssize(interleaved) % channels() == 0);
    const std::int64_t asked = std::ssize(interleaved) / channels();
    std::int64_t total = 0;
    while (total < asked) {
      if (silence_left_ == 0 && ready_.size() == taken_ && !advance()) break;
      total += take(interleaved.subspan(static_cast<std::size_t>(total * channels())));
    }
    if (total == 0 && asked > 0 && failure_) return *failure_;
    return Frames{total};
  }

 private:
  /// Whether anything is in sight.
  bool look_ahead() {
    while (ahead_.size() < kLookAhead) {
      auto piece = decoder_.next();
      if (!piece) break;
      ahead_.push_back(*std::move(piece));
    }
    return !ahead_.empty();
  }

  /// The next piece into ready_, with the silence before it. False at the end.
  bool advance() {
    if (failure_ || ended_) return false;
    if (!look_ahead()) {
      end(decoder_.failure());
      return false;
    }
    stamps_.clear();
    for (const Unpacked& piece : ahead_) stamps_.push_back(piece.stamped);
    const StampAction action = keeper_->next(stamps_);
    if (!believe(action)) return false;
    Unpacked piece = std::move(ahead_.front());
    ahead_.pop_front();
    if (ahead_.empty()) cut_padding(piece);
    ready_ = std::move(piece.sound);
    taken_ = std::min(ready_.size(), samples_in(action.leave_out));
    decoded_ += piece.stamped.frames;
    silence_left_ = action.put_in;
    if (to_seconds({position_ + silence_left_}, rate()).s > static_cast<double>(kLongest_s))
      end(too_long(file_));
    return !failure_;
  }

  std::size_t samples_in(std::int64_t frames) const {
    return static_cast<std::size_t>(frames * channels());
  }

  /// The last packet is filled up to a whole one. Where the container counts in frames it tells,
  /// give or take the millisecond to which an edit list is rounded, which must cost no sound.
  void cut_padding(Unpacked& piece) const {
    const AVStream& stream = *decoder_.opened().stream;
    if (!is_lossy(stream.codecpar->codec_id) || tick_frames(stream, decoder_.rate_hz()) > 1.0)
      return;
    const std::int64_t kept = piece.lasts + decoder_.rate_hz() / 1000;
    if (piece.lasts <= 0 || kept >= piece.stamped.frames) return;
    piece.sound.resize(samples_in(kept));
    piece.stamped.frames = kept;
  }

  /// Notes a leap. False where it is too far to be true.
  bool believe(const StampAction& action) {
    if (action.jump != 0) {
      const double silence_s = to_seconds({notes_.put_in.n + action.put_in}, rate()).s;
      if (silence_s > kSilenceBeyondSound_s + to_seconds({decoded_}, rate()).s) {
        end(damaged(file_, position_, "its time stamps leap there further than can be true"));
        return false;
      }
      note_jump(action);
    }
    if (action.leave_out > 0) {
      if (!notes_.jumps.empty()) notes_.jumps.back().left_out.n += action.leave_out;
      notes_.left_out.n += action.leave_out;
    }
    return true;
  }

  void note_jump(const StampAction& action) {
    ++notes_.jump_count;
    notes_.put_in.n += action.put_in;
    if (notes_.jumps.size() < kMostJumpsKept)
      notes_.jumps.push_back({{position_}, {action.jump}, {action.put_in}, {}});
  }

  /// From the silence first, then from the piece; frames.
  std::int64_t take(std::span<float> out) {
    const std::int64_t room = std::ssize(out) / channels();
    if (silence_left_ > 0) {
      const std::int64_t frames = std::min(room, silence_left_);
      std::fill_n(out.begin(), samples_in(frames), 0.0F);
      silence_left_ -= frames;
      position_ += frames;
      return frames;
    }
    const std::size_t samples = std::min(samples_in(room), ready_.size() - taken_);
    std::copy_n(ready_.begin() + static_cast<std::ptrdiff_t>(taken_), samples, out.begin());
    silence_non_numbers(out.first(samples), channels(), {position_}, notes_);
    taken_ += samples;
    const auto frames = static_cast<std::int64_t>(samples) / channels();
    position_ += frames;
    return frames;
  }

  void end(const std::optional<Error>& failure) {
    failure_ = failure;
    ended_ = true;
    const std::int64_t missing = claimed_length_.n - position_;
    const bool is_less = to_seconds({missing}, rate()).s > kClaimRoundsBy_s;
    if (is_less && missing > kMostPadding_frames) notes_.missing = {missing};
    notes_.breaks_off = notes_.breaks_off || decoder_.loss_at_end();
  }

  std::filesystem::path file_;
  ReadNotes notes_;
  Decoder decoder_;
  std::optional<StampKeeper> keeper_;
  Frames claimed_length_;
  std::deque<Unpacked> ahead_;
  std::vector<Stamped> stamps_;
  std::vector<float> ready_;
  std::size_t taken_{0};  // samples of ready_ that were delivered or left out
  std::int64_t silence_left_{0};
  std::int64_t position_{0};
  std::int64_t decoded_{0};
  bool ended_{false};
  std::optional<Error> failure_;
};

Error not_opened(FileInput& file, int code) {
  const std::string name = container_name(head_of(file)).value_or("audio");
  return unreadable(file.file(),
                    "it begins like " + name + " but cannot be read (" + words_for(code) + ")",
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

Result<Opened> open_all(const std::shared_ptr<FileInput>& input) {
  prepare_library();
  Opened opened;
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

AudioInfo describe(const LibavSource& source) {
  const Opened& opened = source.decoder().opened();
  const AVCodecID codec = opened.stream->codecpar->codec_id;
  const int rate_hz = source.decoder().rate_hz();
  AudioInfo info;
  info.format = format_label(opened.container, *opened.stream->codecpar);
  info.rate = source.rate();
  info.channels = source.channels();
  info.claimed_length = {claimed_frames(*opened.format, *opened.stream, rate_hz)};
  info.lossy = is_lossy(codec);
  info.bits = whole_number_bits(*opened.stream->codecpar);
  info.has_lead_in = needs_stated_lead_in(codec) && !source.decoder().skips_lead_in();
  info.further_sounds = count_sounds(*opened.format) - 1;
  std::optional<double> sound_s;
  if (const auto stamp = source.first_stamp()) sound_s = to_seconds({*stamp}, info.rate).s;
  describe_video(*opened.format, sound_s, info);
  return info;
}

}  // namespace

bool reads_video_files() { return true; }

Result<OpenAudio> open_with_libav(const std::shared_ptr<FileInput>& input, bool lacks_end) {
  auto opened = open_all(input);
  if (!opened) return opened.error();
  // Half of what an index or a header says is worse than nothing.
  if (input->problem() != 0) return not_to_be_read(input->file(), input->problem());
  auto source = std::make_unique<LibavSource>(*std::move(opened), input->file());
  if (auto error = source->start()) return *std::move(error);
  OpenAudio audio;
  audio.info = describe(*source);
  source->claim(audio.info.claimed_length);
  if (lacks_end || cut_sound(*input)) source->note_break();
  audio.source = std::move(source);
  return audio;
}

}  // namespace kilter::media
