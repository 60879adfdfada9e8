#include "libav_decoder.h"

extern "C" {
#include <libavutil/intreadwrite.h>
#include <libavutil/mathematics.h>
}

#include <cstddef>

#include "kilter/base/system_words.h"
#include "libav_samples.h"
#include "reading_limits.h"

namespace kilter::media {
namespace {

constexpr int kMostIdlePackets = 20000;
constexpr int kMostReadErrors = 100;

}  // namespace

std::optional<Unpacked> LibavDecoder::next() {
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

void LibavDecoder::stop(const std::string& words) {
  failure_ = damaged(file_, frames_, words);
  ended_ = true;
}

void LibavDecoder::note_loss(int code) {
  loss_at_end_ = true;
  if (notes_.lost_packets++ == 0) notes_.first_loss = libav_words(code);
  if (++idle_ > kMostIdlePackets) stop(libav_words(code));
}

void LibavDecoder::feed() {
  AVPacket* packet = opened_.packet.get();
  const int got = flushing_ ? AVERROR_EOF : av_read_frame(opened_.format.get(), packet);
  if (got == AVERROR_EOF) {
    flush();
  } else if (got < 0) {
    if (++read_errors_ > kMostReadErrors || got == AVERROR(EIO)) {
      failure_ = damaged(file_, frames_, libav_words(got));
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

void LibavDecoder::flush() {
  if (std::exchange(flushing_, true) || avcodec_send_packet(opened_.decoder.get(), nullptr) < 0)
    ended_ = true;
}

void LibavDecoder::send() {
  AVPacket* packet = opened_.packet.get();
  if (!std::exchange(fed_, true)) note_lead_in();
  const bool cut = (packet->flags & AV_PKT_FLAG_CORRUPT) != 0;
  const int code = cut ? AVERROR_INVALIDDATA : avcodec_send_packet(opened_.decoder.get(), packet);
  if (code < 0) note_loss(code);
}

void LibavDecoder::note_lead_in() {
  std::size_t size = 0;
  const std::uint8_t* skip =
      av_packet_get_side_data(opened_.packet.get(), AV_PKT_DATA_SKIP_SAMPLES, &size);
  skips_lead_in_ = skip != nullptr && size >= 4 && AV_RL32(skip) > 0;
}

std::optional<Unpacked> LibavDecoder::unpack() {
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

std::optional<std::int64_t> LibavDecoder::in_frames(std::int64_t ticks) const {
  if (ticks == AV_NOPTS_VALUE) return std::nullopt;
  const std::int64_t frames =
      av_rescale_q(ticks, opened_.stream->time_base, AVRational{1, rate_hz_});
  // Further than any file lasts, and where sums of two might overflow.
  constexpr std::int64_t kFar = std::int64_t{1} << 60;
  if (frames < -kFar || frames > kFar) return std::nullopt;
  return frames;
}

}  // namespace kilter::media
