// Whether an Ogg file is whole. libsndfile does not say: it takes one that was cut for one of
// unknown length, and moves what follows a damaged stretch up to what stood before it.
#pragma once

#include "kilter/base/file_input.h"

namespace kilter::media {

struct OggPages {
  int whole{0};          ///< how many are there as a whole
  bool undamaged{true};  ///< each page follows the one before and fits its checksum
  bool have_end{false};  ///< the last page is whole and says that it is the last
};

/// Reads the file once, from start to end, or to where it cannot be read, which it tells.
OggPages look_at_ogg_pages(FileInput& file);

}  // namespace kilter::media
