// FFmpeg's objects behind RAII.
#pragma once

extern "C" {
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/frame.h>
}

#include <memory>

namespace kilter::media {

struct FormatClose {
  void operator()(AVFormatContext* context) const noexcept { avformat_close_input(&context); }
};
struct DecoderFree {
  void operator()(AVCodecContext* context) const noexcept { avcodec_free_context(&context); }
};
struct PacketFree {
  void operator()(AVPacket* packet) const noexcept { av_packet_free(&packet); }
};
struct FrameFree {
  void operator()(AVFrame* frame) const noexcept { av_frame_free(&frame); }
};
using FormatHandle = std::unique_ptr<AVFormatContext, FormatClose>;
using DecoderHandle = std::unique_ptr<AVCodecContext, DecoderFree>;
using PacketHandle = std::unique_ptr<AVPacket, PacketFree>;
using FrameHandle = std::unique_ptr<AVFrame, FrameFree>;

}  // namespace kilter::media
