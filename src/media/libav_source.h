// Files that FFmpeg's libraries read: AAC, MP4, WebM and the like.
#pragma once

#include "kilter/media/audio_file.h"

namespace kilter::media {

/// Fails (unreadable) beyond the limits, and where the file is none of the containers and codecs on
/// our list. The file must be an ordinary one. In a build without these libraries (see
/// reads_video_files) it fails always. `lacks_end` is noted: who calls may know better.
Result<OpenAudio> open_with_libav(const std::filesystem::path& file, bool lacks_end = false);

}  // namespace kilter::media
