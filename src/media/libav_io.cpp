#include "libav_io.h"

#include <cerrno>
#include <cstdio>
#include <span>
#include <utility>

extern "C" {
#include <libavformat/avio.h>
#include <libavutil/error.h>
#include <libavutil/mem.h>
}

namespace kilter::media {
namespace {

constexpr int kBufferBytes = 65536;
// A sound file is read little more than once. Who reads on has lost his way in damage.
constexpr std::int64_t kMostReadings = 16;
constexpr std::int64_t kReadAnyway = 64 << 20;

}  // namespace

LibavIo::LibavIo(std::shared_ptr<FileInput> file)
    : file_(std::move(file)),
      size_(file_->length()),
      left_to_read_(kReadAnyway + kMostReadings * size_) {
  auto* buffer = static_cast<unsigned char*>(av_malloc(kBufferBytes));
  if (buffer == nullptr) return;
  context_ = avio_alloc_context(buffer, kBufferBytes, 0, this, &read, nullptr, &seek);
  if (context_ == nullptr) av_free(buffer);
}

LibavIo::~LibavIo() {
  if (context_ != nullptr) av_freep(&context_->buffer);  // theirs by now: it may have grown
  avio_context_free(&context_);
}

int LibavIo::read(void* self, std::uint8_t* out, int wanted) {
  auto& io = *static_cast<LibavIo*>(self);
  if (io.left_to_read_ <= 0) return AVERROR(EIO);
  const std::span bytes(reinterpret_cast<char*>(out), static_cast<std::size_t>(wanted));
  const std::int64_t got = io.file_->read_some_at(bytes, io.position_);
  if (got < 0) return AVERROR(io.file_->problem());
  if (got == 0) return AVERROR_EOF;
  io.position_ += got;
  io.left_to_read_ -= got;
  return static_cast<int>(got);
}

std::int64_t LibavIo::seek(void* self, std::int64_t offset, int whence) {
  auto& io = *static_cast<LibavIo*>(self);
  whence &= ~AVSEEK_FORCE;
  if (whence == AVSEEK_SIZE) return io.size_;
  std::int64_t base = 0;
  if (whence == SEEK_CUR) base = io.position_;
  if (whence == SEEK_END) base = io.size_;
  std::int64_t target = 0;
  if (__builtin_add_overflow(base, offset, &target) || target < 0) return AVERROR(EINVAL);
  io.position_ = target;
  return target;
}

}  // namespace kilter::media
