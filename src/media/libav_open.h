// Opens what FFmpeg's libraries read: the container, its stream of sound, and that one's decoder.
#pragma once

#include <memory>
#include <string>

#include "kilter/base/file_input.h"
#include "kilter/base/result.h"
#include "libav_handles.h"
#include "libav_io.h"

namespace kilter::media {

/// What was opened, in the order in which it must be closed.
struct OpenedByLibav {
  std::string container;  // by its first bytes; empty where they tell nothing
  std::unique_ptr<LibavIo> io;
  FormatHandle format;
  DecoderHandle decoder;
  PacketHandle packet{av_packet_alloc()};
  FrameHandle frame{av_frame_alloc()};
  AVStream* stream{nullptr};
};

/// Fails with unreadable where there is no sound in it, or none that is read. Reads no other file
/// that it may name.
Result<OpenedByLibav> open_by_libav(const std::shared_ptr<FileInput>& input);

/// What the libraries say of one of their codes.
std::string libav_words(int code);

}  // namespace kilter::media
