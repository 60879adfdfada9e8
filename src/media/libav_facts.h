// What FFmpeg's libraries tell of a file that they opened.
#pragma once

#include <cstdint>
#include <optional>

#include "kilter/base/audio_source.h"
#include "kilter/media/audio_file.h"
#include "libav_open.h"

namespace kilter::media {

/// Frames of the sound in a tick of the stream's stamps.
double tick_frames(const AVStream& stream, int rate_hz);

bool is_lossy(AVCodecID codec);
bool is_windows_media(AVCodecID codec);

/// `first_stamp` of the sound in frames, where it has one; `skips_lead_in`: the decoder was told
/// to.
AudioInfo facts_of(const OpenedByLibav& opened, int rate_hz, int channels,
                   std::optional<std::int64_t> first_stamp, bool skips_lead_in);

}  // namespace kilter::media
