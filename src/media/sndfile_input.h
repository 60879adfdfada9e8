// One file's bytes for libsndfile, which so never opens or reads anything itself: not even what a
// name's ending makes it guess, for it sees none.
#pragma once

#include <cstdint>
#include <memory>
#include <string>

#include "claimed_size.h"
#include "kilter/base/file_input.h"
#include "sndfile_handle.h"

namespace kilter::media {

class SndfileInput {
 public:
  explicit SndfileInput(std::shared_ptr<FileInput> file, const HeaderPatch& patch = {})
      : file_(std::move(file)), patch_(patch) {}
  SndfileInput(const SndfileInput&) = delete;
  SndfileInput& operator=(const SndfileInput&) = delete;

  FileInput& file() const { return *file_; }
  /// Nothing where that fails, with libsndfile's words for it. The handle reads through this
  /// object.
  SndfileHandle open(SF_INFO& header, std::string& words);

 private:
  static sf_count_t length(void* self);
  static sf_count_t seek(sf_count_t offset, int whence, void* self);
  static sf_count_t read(void* out, sf_count_t wanted, void* self);
  static sf_count_t tell(void* self);

  std::shared_ptr<FileInput> file_;
  HeaderPatch patch_;
  std::int64_t position_{0};
};

}  // namespace kilter::media
