// One file's bytes for FFmpeg's libraries, which so never open anything themselves.
#pragma once

#include <cstdint>
#include <memory>

#include "kilter/base/file_input.h"

struct AVIOContext;

namespace kilter::media {

class LibavIo {
 public:
  /// Its context() is nothing where memory has run out.
  explicit LibavIo(std::shared_ptr<FileInput> file);
  LibavIo(const LibavIo&) = delete;
  LibavIo& operator=(const LibavIo&) = delete;
  ~LibavIo();

  AVIOContext* context() { return context_; }
  FileInput& file() { return *file_; }

 private:
  static int read(void* self, std::uint8_t* out, int wanted);
  static std::int64_t seek(void* self, std::int64_t offset, int whence);

  std::shared_ptr<FileInput> file_;
  std::int64_t size_;
  std::int64_t position_{0};
  std::int64_t left_to_read_;
  AVIOContext* context_{nullptr};
};

}  // namespace kilter::media
