#include "claimed_size.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstddef>
#include <cstring>
#include <string_view>

namespace kilter::media {
namespace {

constexpr std::int64_t kSizeBytes = 4;
constexpr int kMostChunks = 100;
constexpr std::int64_t kFirstChunkAt = 12;
constexpr std::uint32_t kIn64Bits = 0xFFFFFFFF;

struct Chunk {
  std::array<char, 4> id{};
  std::uint32_t bytes{0};

  bool is(std::string_view name) const { return std::string_view(id.data(), 4) == name; }
};

std::optional<std::array<unsigned char, 8>> eight_bytes_at(FileInput& file, std::int64_t at) {
  std::array<char, 8> bytes{};
  if (file.read_at(bytes, at) != 8) return std::nullopt;
  return std::bit_cast<std::array<unsigned char, 8>>(bytes);
}

std::optional<Chunk> chunk_at(FileInput& file, std::int64_t at) {
  const auto head = eight_bytes_at(file, at);
  if (!head) return std::nullopt;
  Chunk chunk;
  std::memcpy(chunk.id.data(), head->data(), 4);
  for (std::size_t i = 8; i-- > 4;) chunk.bytes = chunk.bytes << 8U | (*head)[i];
  return chunk;
}

std::uint32_t high_byte_first(std::uint32_t value) {
  return value << 24U | (value & 0xFF00U) << 8U | (value >> 8U & 0xFF00U) | value >> 24U;
}

std::int64_t behind(std::int64_t at, const Chunk& chunk) {
  return at + 8 + chunk.bytes + chunk.bytes % 2;
}

/// Whether chunk follows chunk from `at` to the file's end.
bool are_chunks(FileInput& file, std::int64_t at) {
  const std::int64_t end = file.length();
  for (int i = 0; i < kMostChunks && at < end; ++i) {
    const auto chunk = chunk_at(file, at);
    if (!chunk) return false;
    at = behind(at, *chunk);
  }
  return at == end || at == end + 1;
}

struct Sound {
  std::int64_t at{0};     // its first byte
  std::int64_t bytes{0};  // as the header says
};

/// Where the sound of a RIFF file lies, and how much its header says there is.
std::optional<Sound> sound_of(FileInput& file) {
  const auto riff = chunk_at(file, 0);
  if (!riff || !riff->is("RIFF")) return std::nullopt;
  std::int64_t at = kFirstChunkAt;
  for (int i = 0; i < kMostChunks; ++i) {
    const auto chunk = chunk_at(file, at);
    if (!chunk) return std::nullopt;
    if (chunk->is("data")) return Sound{at + 8, chunk->bytes};
    at = behind(at, *chunk);
  }
  return std::nullopt;
}

template <std::endian Order = std::endian::little>
std::optional<std::int64_t> size_at(FileInput& file, std::int64_t at) {
  auto bytes = eight_bytes_at(file, at);
  if (!bytes) return std::nullopt;
  if (Order == std::endian::big) std::reverse(bytes->begin(), bytes->end());
  std::uint64_t size = 0;
  for (std::size_t i = 8; i-- > 0;) size = size << 8U | (*bytes)[i];
  // Beyond what any file holds, and where sums would overflow.
  return size < std::uint64_t{1} << 60U ? std::optional(static_cast<std::int64_t>(size))
                                        : std::nullopt;
}

/// RF64 and BW64: sizes of 64 bits stand in the first chunk, the file's and then the sound's.
std::optional<Sound> sound_of_rf64(FileInput& file) {
  const auto head = chunk_at(file, 0);
  const auto sizes = chunk_at(file, kFirstChunkAt);
  if (!head || !(head->is("RF64") || head->is("BW64")) || !sizes || !sizes->is("ds64"))
    return std::nullopt;
  const auto bytes = size_at(file, kFirstChunkAt + 16);
  std::int64_t at = behind(kFirstChunkAt, *sizes);
  for (int i = 0; bytes && i < kMostChunks; ++i) {
    const auto chunk = chunk_at(file, at);
    if (!chunk) return std::nullopt;
    if (chunk->is("data"))
      return Sound{at + 8, chunk->bytes == kIn64Bits ? *bytes : std::int64_t{chunk->bytes}};
    at = behind(at, *chunk);
  }
  return std::nullopt;
}

/// W64: names of 16 bytes, the first four of which are letters; sizes count name and size as well,
/// and chunks begin at multiples of eight.
std::optional<Sound> sound_of_w64(FileInput& file) {
  constexpr std::int64_t kHeadBytes = 24;
  constexpr std::int64_t kFirstAt = 40;
  const auto riff = chunk_at(file, 0);
  if (!riff || !riff->is("riff")) return std::nullopt;
  std::int64_t at = kFirstAt;
  for (int i = 0; i < kMostChunks; ++i) {
    const auto chunk = chunk_at(file, at);
    const auto bytes = size_at(file, at + 16);
    if (!chunk || !bytes || *bytes < kHeadBytes) return std::nullopt;
    if (chunk->is("data")) return Sound{at + kHeadBytes, *bytes - kHeadBytes};
    at += (*bytes + 7) / 8 * 8;
  }
  return std::nullopt;
}

/// AIFF: as RIFF, with the high byte first; the sound's chunk has eight bytes before the sound.
std::optional<Sound> sound_of_aiff(FileInput& file) {
  constexpr std::int64_t kBeforeSound = 8;
  const auto form = chunk_at(file, 0);
  if (!form || !form->is("FORM")) return std::nullopt;
  std::int64_t at = kFirstChunkAt;
  for (int i = 0; i < kMostChunks; ++i) {
    auto chunk = chunk_at(file, at);
    if (!chunk) return std::nullopt;
    chunk->bytes = high_byte_first(chunk->bytes);
    if (chunk->is("SSND")) return Sound{at + 8 + kBeforeSound, chunk->bytes - kBeforeSound};
    at = behind(at, *chunk);
  }
  return std::nullopt;
}

/// CAF: as AIFF, but for sizes of 64 bits, and four bytes before the sound.
std::optional<Sound> sound_of_caf(FileInput& file) {
  constexpr std::int64_t kFirstAt = 8;
  constexpr std::int64_t kChunkHead = 12;
  constexpr std::int64_t kBeforeSound = 4;
  const auto head = chunk_at(file, 0);
  if (!head || !head->is("caff")) return std::nullopt;
  std::int64_t at = kFirstAt;
  for (int i = 0; i < kMostChunks; ++i) {
    const auto chunk = chunk_at(file, at);
    const auto bytes = size_at<std::endian::big>(file, at + 4);
    if (!chunk || !bytes) return std::nullopt;  // -1: up to the end
    if (chunk->is("data")) return Sound{at + kChunkHead + kBeforeSound, *bytes - kBeforeSound};
    at += kChunkHead + *bytes;
  }
  return std::nullopt;
}

/// AU: where the sound begins and how long it is, high byte first.
std::optional<Sound> sound_of_au(FileInput& file) {
  const auto head = chunk_at(file, 0);
  const auto size = chunk_at(file, 4);
  if (!head || !head->is(".snd") || !size) return std::nullopt;
  return Sound{high_byte_first(head->bytes), high_byte_first(size->bytes)};
}

}  // namespace

std::optional<std::int64_t> unwritten_size_at(FileInput& file) {
  const auto sound = sound_of(file);
  if (!sound || sound->bytes != 0 || are_chunks(file, sound->at)) return std::nullopt;
  return sound->at - kSizeBytes;
}

std::optional<CutSound> cut_sound(FileInput& file) {
  const auto is_unknown = [](std::int64_t bytes) {
    return (bytes >= 0xFFFF0000 && bytes <= 0xFFFFFFFF) ||
           (bytes >= 0x7FFF0000 && bytes <= 0x7FFFFFFF);
  };
  auto sound = sound_of(file);
  if (!sound) sound = sound_of_rf64(file);
  if (!sound) sound = sound_of_w64(file);
  if (!sound) sound = sound_of_aiff(file);
  if (!sound) sound = sound_of_caf(file);
  if (!sound) sound = sound_of_au(file);
  if (!sound || is_unknown(sound->bytes)) return std::nullopt;
  const std::int64_t there = file.length() - sound->at;
  if (there <= 0 || there >= sound->bytes) return std::nullopt;
  return CutSound{sound->bytes, there};
}

}  // namespace kilter::media
