#include "ogg_pages.h"

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <map>
#include <span>
#include <string_view>
#include <vector>

namespace kilter::media {
namespace {

// RFC 3533: a page is a header of 27 bytes, up to 255 sizes, and their sum in bytes.
constexpr std::size_t kHeaderBytes = 27;
constexpr std::size_t kChecksumAt = 22;
constexpr unsigned kFirstOfStream = 2;
constexpr unsigned kLastOfStream = 4;
constexpr std::uint32_t kPolynomial = 0x04C11DB7;

using Bytes = std::span<const unsigned char>;

consteval std::array<std::uint32_t, 256> checksum_table() {
  std::array<std::uint32_t, 256> table{};
  for (std::uint32_t i = 0; i < 256; ++i) {
    std::uint32_t value = i << 24U;
    for (int bit = 0; bit < 8; ++bit)
      value = (value << 1U) ^ ((value & 0x80000000U) != 0 ? kPolynomial : 0U);
    table[i] = value;
  }
  return table;
}

std::uint32_t checksum(Bytes bytes, std::uint32_t sum) {
  static constexpr std::array<std::uint32_t, 256> kTable = checksum_table();
  for (const unsigned char byte : bytes) sum = (sum << 8U) ^ kTable[(sum >> 24U) ^ byte];
  return sum;
}

std::uint32_t little_endian(Bytes bytes, std::size_t at) {
  std::uint32_t value = 0;
  for (std::size_t i = 4; i-- > 0;) value = value << 8U | bytes[at + i];
  return value;
}

enum class Reading { whole, no_page, cut };

/// A file's bytes in a row.
class Bytestream {
 public:
  explicit Bytestream(FileInput& file) : file_(file) {}

  bool at_end() { return taken_ == buffer_.size() && !fill(); }
  /// Appends as many bytes; false where the file ends before.
  bool append(std::size_t count, std::vector<unsigned char>& bytes) {
    while (count > 0 && !at_end()) {
      const std::size_t part = std::min(count, buffer_.size() - taken_);
      const auto from = buffer_.begin() + static_cast<std::ptrdiff_t>(taken_);
      bytes.insert(bytes.end(), from, from + static_cast<std::ptrdiff_t>(part));
      taken_ += part;
      count -= part;
    }
    return count == 0;
  }

 private:
  bool fill() {
    constexpr std::size_t kBuffer = 65536;
    if (file_.problem() != 0) return false;
    buffer_.resize(kBuffer);
    taken_ = 0;
    buffer_.resize(static_cast<std::size_t>(file_.read_at(buffer_, position_)));
    position_ += std::ssize(buffer_);
    return !buffer_.empty();
  }

  FileInput& file_;
  std::int64_t position_{0};
  std::vector<char> buffer_;
  std::size_t taken_{0};
};

/// The next page into `page`.
Reading read_page(Bytestream& stream, std::vector<unsigned char>& page) {
  page.clear();
  if (!stream.append(kHeaderBytes, page)) return Reading::cut;
  if (std::string_view(reinterpret_cast<const char*>(page.data()), 4) != "OggS")
    return Reading::no_page;
  const std::size_t sizes = page[kHeaderBytes - 1];
  if (!stream.append(sizes, page)) return Reading::cut;
  std::size_t body = 0;
  for (std::size_t i = 0; i < sizes; ++i) body += page[kHeaderBytes + i];
  return stream.append(body, page) ? Reading::whole : Reading::cut;
}

bool fits_checksum(std::vector<unsigned char>& page) {
  const std::uint32_t stated = little_endian(page, kChecksumAt);
  std::fill_n(page.begin() + kChecksumAt, 4, static_cast<unsigned char>(0));
  return checksum(page, 0) == stated;
}

}  // namespace

OggPages look_at_ogg_pages(FileInput& file) {
  OggPages pages;
  Bytestream stream(file);
  std::map<std::uint32_t, std::uint32_t> next_numbers;  // of each stream
  std::vector<unsigned char> page;
  while (!stream.at_end()) {
    const Reading reading = read_page(stream, page);
    if (reading == Reading::no_page) pages.undamaged = false;
    pages.have_end = false;
    if (reading != Reading::whole) break;
    ++pages.whole;
    const unsigned flags = page[5];
    const std::uint32_t number = little_endian(page, 18);
    const auto [expected, first_seen] = next_numbers.try_emplace(little_endian(page, 14), number);
    const bool follows = first_seen || (flags & kFirstOfStream) != 0 || expected->second == number;
    const bool fits = fits_checksum(page);
    if (!follows || !fits) pages.undamaged = false;
    pages.have_end = fits && (flags & kLastOfStream) != 0;
    expected->second = number + 1;
  }
  return pages;
}

}  // namespace kilter::media
