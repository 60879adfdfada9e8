// One file's bytes for FFmpeg's libraries, which so never open anything themselves.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>

struct AVIOContext;

namespace kilter::media {

class LibavIo {
 public:
  /// Nothing where the file cannot be opened; `errno` then says why.
  static std::unique_ptr<LibavIo> open(const std::filesystem::path& file);
  LibavIo(const LibavIo&) = delete;
  LibavIo& operator=(const LibavIo&) = delete;
  ~LibavIo();

  AVIOContext* context() { return context_; }

 private:
  explicit LibavIo(int descriptor, std::int64_t size);
  static int read(void* self, std::uint8_t* out, int wanted);
  static std::int64_t seek(void* self, std::int64_t offset, int whence);

  int descriptor_;
  std::int64_t size_;
  std::int64_t position_{0};
  std::int64_t left_to_read_;
  AVIOContext* context_{nullptr};
};

}  // namespace kilter::media
