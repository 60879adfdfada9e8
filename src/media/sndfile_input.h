// One file's bytes for libsndfile, which so never opens or reads anything itself: not even what a
// name's ending makes it guess, for it sees none.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "kilter/base/file_input.h"
#include "sndfile_handle.h"

namespace kilter::media {

class SndfileInput {
 public:
  /// `unwritten_size_at`: where four bytes stand that are to be read as if they said "to the end".
  explicit SndfileInput(std::shared_ptr<FileInput> file,
                        std::optional<std::int64_t> unwritten_size_at = std::nullopt)
      : file_(std::move(file)), unwritten_size_at_(unwritten_size_at) {}
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
  std::optional<std::int64_t> unwritten_size_at_;
  std::int64_t position_{0};
};

}  // namespace kilter::media
