// A number that tells texts apart.
#pragma once

#include <cstdint>
#include <string_view>

namespace kilter {

inline constexpr std::uint64_t kHashStart = 0xcbf29ce484222325U;

/// FNV-1a in 64 bits, from `start` on. No defence against somebody who wants two to be equal.
/// Cost: a multiplication a byte.
constexpr std::uint64_t text_hash(std::string_view text, std::uint64_t start = kHashStart) {
  std::uint64_t hash = start;
  for (const char each : text) hash = (hash ^ static_cast<unsigned char>(each)) * 0x100000001b3U;
  return hash;
}

}  // namespace kilter
