#include "claimed_size.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstddef>
#include <span>
#include <string_view>

namespace kilter::media {
namespace {

constexpr std::int64_t kSizeBytes = 4;
constexpr int kMostChunks = 100;
constexpr std::uint32_t kIn64Bits = 0xFFFFFFFF;
constexpr std::uint64_t kLargest = std::uint64_t{1} << 60U;  // beyond, sums would overflow

/// How a family of formats lays out its chunks: name, size, contents.
struct Layout {
  std::string_view file;      // the first letters of a file
  std::int64_t first_at{12};  // its first chunk, from the file's beginning
  std::size_t head_bytes{8};  // name and size; the name begins with four letters
  std::size_t size_bytes{4};  // the last of the head
  std::endian order{std::endian::little};
  bool counts_head{false};   // the size is the whole chunk's
  std::int64_t multiple{2};  // chunks begin there
  std::string_view sound{"data"};
  std::int64_t before_sound{0};  // bytes of that chunk
};

constexpr Layout kRiff{.file = "RIFF"};
constexpr Layout kRf64{.file = "RF64"};
constexpr Layout kBw64{.file = "BW64"};
constexpr Layout kW64{.file = "riff",
                      .first_at = 40,
                      .head_bytes = 24,
                      .size_bytes = 8,
                      .counts_head = true,
                      .multiple = 8};
constexpr Layout kAiff{
    .file = "FORM", .order = std::endian::big, .sound = "SSND", .before_sound = 8};
constexpr Layout kCaf{.file = "caff",
                      .first_at = 8,
                      .head_bytes = 12,
                      .size_bytes = 8,
                      .order = std::endian::big,
                      .multiple = 1,
                      .before_sound = 4};

using Head = std::array<unsigned char, 24>;

/// The file's next bytes; nothing where it has fewer.
std::optional<Head> head_at(FileInput& file, std::int64_t at, std::size_t bytes) {
  std::array<char, sizeof(Head)> head{};
  if (file.read_at(std::span(head).first(bytes), at) != static_cast<std::int64_t>(bytes))
    return std::nullopt;
  return std::bit_cast<Head>(head);
}

std::uint64_t number(std::span<const unsigned char> bytes, std::endian order) {
  std::uint64_t sum = 0;
  for (std::size_t i = 0; i < bytes.size(); ++i)
    sum = sum << 8U | bytes[order == std::endian::big ? i : bytes.size() - 1 - i];
  return sum;
}

bool begins_with(const Head& head, std::string_view letters) {
  return std::equal(letters.begin(), letters.end(), head.begin(),
                    [](char a, unsigned char b) { return static_cast<unsigned char>(a) == b; });
}

struct Chunk {
  Head head{};
  std::int64_t at{0};     // its contents
  std::int64_t bytes{0};  // of them
  std::int64_t next{0};
};

std::optional<Chunk> chunk_at(FileInput& file, const Layout& layout, std::int64_t at) {
  const auto head = head_at(file, at, layout.head_bytes);
  if (!head) return std::nullopt;
  const std::uint64_t size =
      number(std::span(*head).subspan(layout.head_bytes - layout.size_bytes, layout.size_bytes),
             layout.order);
  const std::size_t counted = layout.counts_head ? layout.head_bytes : 0;
  if (size < counted || size >= kLargest) return std::nullopt;
  Chunk chunk{*head, at + static_cast<std::int64_t>(layout.head_bytes),
              static_cast<std::int64_t>(size - counted), 0};
  const std::int64_t end = chunk.at + chunk.bytes;
  chunk.next = end + (layout.multiple - end % layout.multiple) % layout.multiple;
  return chunk;
}

/// Whether chunk follows chunk from `at` to the file's end.
bool are_chunks(FileInput& file, std::int64_t at) {
  const std::int64_t end = file.length();
  for (int i = 0; i < kMostChunks && at < end; ++i) {
    const auto chunk = chunk_at(file, kRiff, at);
    if (!chunk) return false;
    at = chunk->next;
  }
  return at == end || at == end + 1;
}

struct Sound {
  std::int64_t at{0};     // its first byte
  std::int64_t bytes{0};  // as the header says
};

/// Where the sound of a file of this family lies, and how much its header says there is.
std::optional<Sound> sound_of(FileInput& file, const Layout& layout) {
  const auto begin = head_at(file, 0, layout.file.size());
  if (!begin || !begins_with(*begin, layout.file)) return std::nullopt;
  std::int64_t at = layout.first_at;
  for (int i = 0; i < kMostChunks; ++i) {
    const auto chunk = chunk_at(file, layout, at);
    if (!chunk) return std::nullopt;
    if (begins_with(chunk->head, layout.sound))
      return Sound{chunk->at + layout.before_sound, chunk->bytes - layout.before_sound};
    at = chunk->next;
  }
  return std::nullopt;
}

/// RF64 and BW64: sizes of 64 bits stand in the first chunk, the file's and then the sound's.
std::optional<Sound> sound_of_large(FileInput& file, const Layout& layout) {
  auto sound = sound_of(file, layout);
  const auto sizes = head_at(file, layout.first_at, 24);
  if (!sound || !sizes || !begins_with(*sizes, "ds64")) return std::nullopt;
  const std::uint64_t bytes = number(std::span(*sizes).subspan(16), layout.order);
  if (bytes >= kLargest) return std::nullopt;
  if (sound->bytes == kIn64Bits) sound->bytes = static_cast<std::int64_t>(bytes);
  return sound;
}

/// AU: where the sound begins and how long it is, high byte first.
std::optional<Sound> sound_of_au(FileInput& file) {
  const auto head = head_at(file, 0, 12);
  if (!head || !begins_with(*head, ".snd")) return std::nullopt;
  const auto field = [&](std::size_t at) {
    return static_cast<std::int64_t>(number(std::span(*head).subspan(at, 4), std::endian::big));
  };
  return Sound{field(4), field(8)};
}

}  // namespace

HeaderPatch unwritten_size(FileInput& file) {
  const auto sound = sound_of(file, kRiff);
  if (!sound || sound->bytes != 0 || are_chunks(file, sound->at)) return {};
  HeaderPatch patch{sound->at - kSizeBytes, {}, kSizeBytes};
  patch.bytes.fill('\xFF');
  return patch;
}

HeaderPatch size_to_the_end(FileInput& file) {
  const auto begin = head_at(file, 0, kCaf.file.size());
  if (!begin || !begins_with(*begin, kCaf.file)) return {};
  std::int64_t at = kCaf.first_at;
  for (int i = 0; i < kMostChunks; ++i) {
    if (const auto chunk = chunk_at(file, kCaf, at)) {
      at = chunk->next;
      continue;
    }
    const auto head = head_at(file, at, kCaf.head_bytes);
    const auto sound_at = at + static_cast<std::int64_t>(kCaf.head_bytes);
    const std::size_t size_in_head = kCaf.head_bytes - kCaf.size_bytes;
    if (!head || !begins_with(*head, kCaf.sound) ||
        ~number(std::span(*head).subspan(size_in_head, kCaf.size_bytes), kCaf.order) != 0)
      return {};
    HeaderPatch patch{at + static_cast<std::int64_t>(size_in_head), {}, 0};
    static_assert(kCaf.size_bytes == std::tuple_size_v<decltype(patch.bytes)>);
    auto size = static_cast<std::uint64_t>(file.length() - sound_at);
    for (auto byte = patch.bytes.rbegin(); byte != patch.bytes.rend(); ++byte, size >>= 8U)
      *byte = static_cast<char>(size & 0xFFU);
    patch.count = std::ssize(patch.bytes);
    return patch;
  }
  return {};
}

std::optional<CutSound> cut_sound(FileInput& file) {
  const auto is_unknown = [](std::int64_t bytes) {
    return (bytes >= 0xFFFF0000 && bytes <= 0xFFFFFFFF) ||
           (bytes >= 0x7FFF0000 && bytes <= 0x7FFFFFFF);
  };
  auto sound = sound_of_au(file);
  for (const Layout* layout : {&kRiff, &kW64, &kAiff, &kCaf})
    if (!sound) sound = sound_of(file, *layout);
  for (const Layout* layout : {&kRf64, &kBw64})
    if (!sound) sound = sound_of_large(file, *layout);
  if (!sound || is_unknown(sound->bytes)) return std::nullopt;
  const std::int64_t there = file.length() - sound->at;
  if (there <= 0 || there >= sound->bytes) return std::nullopt;
  return CutSound{sound->bytes, there};
}

}  // namespace kilter::media
