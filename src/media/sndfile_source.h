// Files that libsndfile reads.
#pragma once

#include <memory>

#include "kilter/base/file_input.h"
#include "kilter/media/audio_file.h"

namespace kilter::media {

struct OpenSndfile {
  OpenAudio audio;
  bool loses_sound{false};  ///< damage inside, over which libsndfile would close up
};

/// Fails (unreadable) where libsndfile does, and beyond the limits. The file must be an ordinary
/// one and hold something. Where it cannot be read at a place, the sound before is delivered, and
/// then an error; where it does not even open for that, `input` still tells its problem.
Result<OpenSndfile> open_with_sndfile(const std::shared_ptr<FileInput>& input);

}  // namespace kilter::media
