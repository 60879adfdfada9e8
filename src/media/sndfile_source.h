// Files that libsndfile reads.
#pragma once

#include "kilter/media/audio_file.h"

namespace kilter::media {

struct OpenSndfile {
  OpenAudio audio;
  bool loses_sound{false};  ///< damage inside, over which libsndfile would close up
};

/// Fails (unreadable) where libsndfile does, and beyond the limits. The file must be an ordinary
/// one and hold something.
Result<OpenSndfile> open_with_sndfile(const std::filesystem::path& file);

}  // namespace kilter::media
