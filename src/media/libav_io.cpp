#include "libav_io.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>

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

std::unique_ptr<LibavIo> LibavIo::open(const std::filesystem::path& file) {
  const int descriptor = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);  // NOLINT: variadic by POSIX
  if (descriptor < 0) return nullptr;
  struct stat status {};
  if (::fstat(descriptor, &status) != 0) {
    ::close(descriptor);
    return nullptr;
  }
  std::unique_ptr<LibavIo> io(new LibavIo(descriptor, status.st_size));
  if (io->context_ == nullptr) {
    errno = ENOMEM;
    return nullptr;
  }
  return io;
}

LibavIo::LibavIo(int descriptor, std::int64_t size)
    : descriptor_(descriptor), size_(size), left_to_read_(kReadAnyway + kMostReadings * size) {
  auto* buffer = static_cast<unsigned char*>(av_malloc(kBufferBytes));
  if (buffer == nullptr) return;
  context_ = avio_alloc_context(buffer, kBufferBytes, 0, this, &read, nullptr, &seek);
  if (context_ == nullptr) av_free(buffer);
}

LibavIo::~LibavIo() {
  if (context_ != nullptr) av_freep(&context_->buffer);  // theirs by now: it may have grown
  avio_context_free(&context_);
  ::close(descriptor_);
}

int LibavIo::read(void* self, std::uint8_t* out, int wanted) {
  auto& io = *static_cast<LibavIo*>(self);
  if (io.left_to_read_ <= 0) return AVERROR(EIO);
  ssize_t got = 0;
  do {
    got = ::pread(io.descriptor_, out, static_cast<std::size_t>(wanted), io.position_);
  } while (got < 0 && errno == EINTR);
  if (got < 0) return AVERROR(errno);
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
