#include "unclosed_wav.h"

#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstddef>
#include <cstring>
#include <string_view>

namespace kilter::media {
namespace {

constexpr std::int64_t kSizeBytes = 4;
constexpr int kMostChunks = 100;

std::int64_t file_bytes(int descriptor) {
  struct stat status {};
  return ::fstat(descriptor, &status) == 0 ? status.st_size : 0;
}

ssize_t read_at(int descriptor, void* out, std::size_t wanted, std::int64_t at) {
  ssize_t got = 0;
  do {
    got = ::pread(descriptor, out, wanted, at);
  } while (got < 0 && errno == EINTR);
  return got;
}

struct Chunk {
  std::array<char, 4> id{};
  std::uint32_t bytes{0};

  bool is(std::string_view name) const { return std::string_view(id.data(), 4) == name; }
};

std::optional<Chunk> chunk_at(int descriptor, std::int64_t at) {
  std::array<unsigned char, 8> head{};
  if (read_at(descriptor, head.data(), head.size(), at) != 8) return std::nullopt;
  Chunk chunk;
  std::memcpy(chunk.id.data(), head.data(), 4);
  for (std::size_t i = 8; i-- > 4;) chunk.bytes = chunk.bytes << 8U | head[i];
  return chunk;
}

std::int64_t behind(std::int64_t at, const Chunk& chunk) {
  return at + 8 + chunk.bytes + chunk.bytes % 2;
}

/// Whether chunk follows chunk from `at` to the file's end.
bool are_chunks(int descriptor, std::int64_t at) {
  const std::int64_t end = file_bytes(descriptor);
  for (int i = 0; i < kMostChunks && at < end; ++i) {
    const auto chunk = chunk_at(descriptor, at);
    if (!chunk) return false;
    at = behind(at, *chunk);
  }
  return at == end || at == end + 1;
}

struct Sound {
  std::int64_t at{0};  // its first byte
  std::uint32_t bytes{0};
};

/// Where the sound of a WAV file lies, and how much its header says there is.
std::optional<Sound> sound_of(int descriptor) {
  const auto riff = chunk_at(descriptor, 0);
  if (!riff || !riff->is("RIFF")) return std::nullopt;
  std::int64_t at = 12;
  for (int i = 0; i < kMostChunks; ++i) {
    const auto chunk = chunk_at(descriptor, at);
    if (!chunk) return std::nullopt;
    if (chunk->is("data")) return Sound{at + 8, chunk->bytes};
    at = behind(at, *chunk);
  }
  return std::nullopt;
}

}  // namespace

std::optional<std::int64_t> unwritten_size_at(int descriptor) {
  const auto sound = sound_of(descriptor);
  if (!sound || sound->bytes != 0 || are_chunks(descriptor, sound->at)) return std::nullopt;
  return sound->at - kSizeBytes;
}

std::optional<CutSound> cut_sound(int descriptor) {
  const auto is_unknown = [](std::uint32_t bytes) {
    return bytes >= 0xFFFF0000U || (bytes >= 0x7FFF0000U && bytes <= 0x7FFFFFFFU);
  };
  const auto sound = sound_of(descriptor);
  if (!sound || is_unknown(sound->bytes)) return std::nullopt;
  const std::int64_t there = file_bytes(descriptor) - sound->at;
  if (there <= 0 || there >= sound->bytes) return std::nullopt;
  return CutSound{sound->bytes, there};
}

UnclosedWav::~UnclosedWav() { ::close(descriptor_); }

SF_VIRTUAL_IO UnclosedWav::callbacks() { return {&length, &seek, &read, nullptr, &tell}; }

sf_count_t UnclosedWav::length(void* self) {
  return file_bytes(static_cast<UnclosedWav*>(self)->descriptor_);
}

sf_count_t UnclosedWav::seek(sf_count_t offset, int whence, void* self) {
  auto& wav = *static_cast<UnclosedWav*>(self);
  sf_count_t base = 0;
  if (whence == SEEK_CUR) base = wav.position_;
  if (whence == SEEK_END) base = file_bytes(wav.descriptor_);
  if (base + offset < 0) return -1;
  wav.position_ = base + offset;
  return wav.position_;
}

sf_count_t UnclosedWav::read(void* out, sf_count_t wanted, void* self) {
  auto& wav = *static_cast<UnclosedWav*>(self);
  const ssize_t got =
      read_at(wav.descriptor_, out, static_cast<std::size_t>(wanted), wav.position_);
  if (got <= 0) return 0;
  // All ones: as long as the file goes.
  const std::int64_t from = std::max(wav.size_at_, wav.position_);
  const std::int64_t to = std::min(wav.size_at_ + kSizeBytes, wav.position_ + got);
  if (from < to)
    std::memset(static_cast<char*>(out) + (from - wav.position_), 0xFF,
                static_cast<std::size_t>(to - from));
  wav.position_ += got;
  return got;
}

sf_count_t UnclosedWav::tell(void* self) { return static_cast<UnclosedWav*>(self)->position_; }

}  // namespace kilter::media
