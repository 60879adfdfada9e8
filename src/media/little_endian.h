// Numbers and chunks as RIFF stores them, whatever the processor's own order.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

namespace kilter::media {

inline void put_number(std::string& out, std::uint64_t number, int bytes) {
  for (int i = 0; i < bytes; ++i) {
    out += static_cast<char>(number & 0xFFU);
    number >>= 8U;
  }
}
inline void put_16(std::string& out, std::uint64_t number) { put_number(out, number, 2); }
inline void put_32(std::string& out, std::uint64_t number) { put_number(out, number, 4); }
inline void put_64(std::string& out, std::uint64_t number) { put_number(out, number, 8); }

/// `content` has an even number of bytes: readers disagree about the blank behind an odd one.
inline void put_chunk(std::string& out, std::string_view id, std::string_view content) {
  out += id;
  put_32(out, content.size());
  out += content;
}

}  // namespace kilter::media
