// What reader and writer share of libsndfile.
#pragma once

#include <sndfile.h>

#include <memory>
#include <mutex>

namespace kilter::media {

struct SndfileClose {
  void operator()(SNDFILE* file) const noexcept { sf_close(file); }
};
using SndfileHandle = std::unique_ptr<SNDFILE, SndfileClose>;

/// Held over opening and over asking why opening failed: libsndfile keeps that one error globally.
inline std::mutex& sndfile_open_mutex() {
  static std::mutex mutex;
  return mutex;
}

}  // namespace kilter::media
