// Files that FFmpeg's libraries read: AAC, MP4, WebM and the like.
#pragma once

#include <memory>

#include "kilter/base/file_input.h"
#include "kilter/media/audio_file.h"

namespace kilter::media {

/// Fails (unreadable) beyond the limits, and where the file is none of the containers and codecs on
/// our list. The file must be an ordinary one. In a build without these libraries (see
/// reads_video_files) it fails always. `lacks_end` is noted: who calls may know better. A
/// place that cannot be read is told as open_with_sndfile() does.
Result<OpenAudio> open_with_libav(const std::shared_ptr<FileInput>& input, bool lacks_end = false);

}  // namespace kilter::media
