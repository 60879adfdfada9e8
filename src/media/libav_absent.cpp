// Stands in for libav_source.cpp where FFmpeg's libraries are not there.
#include "libav_source.h"
#include "reading_limits.h"

namespace kilter::media {

bool reads_video_files() { return false; }

Result<OpenAudio> open_with_libav(const std::shared_ptr<FileInput>& input, bool) {
  return unreadable(input->file(), "this build of kilter does not read it",
                    "build kilter with FFmpeg's libraries, or convert the file to WAV or FLAC");
}

}  // namespace kilter::media
