#include "pcm_bytes.h"

#include <bit>
#include <cassert>
#include <cstddef>
#include <cstdint>
#include <cstring>

#include "kilter/base/wide_loops.h"

namespace kilter::media {
namespace {

constexpr float kStep = 0x1p-31F;  // of numbers that fill 32 bits

float sample_of(std::uint32_t left_justified) {
  return static_cast<float>(static_cast<std::int32_t>(left_justified)) * kStep;
}

template <typename Number>
Number number_at(const char* from) {
  Number number{};
  std::memcpy(&number, from, sizeof number);
  return number;
}

KILTER_WIDE void samples_of_16(const char* from, std::span<float> out) {
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = static_cast<float>(number_at<std::int16_t>(from + 2 * i)) * 0x1p-15F;
}

/// Four at a time: a zero, and each number's three bytes above it.
KILTER_WIDE void samples_of_24(const char* from, std::span<float> out) {
  using Bytes16 = signed char __attribute__((vector_size(16)));
  using Int4 = std::int32_t __attribute__((vector_size(16)));
  constexpr std::size_t kReach = 6;  // numbers that begin in 16 bytes
  const Bytes16 zeros{};
  Bytes16 bytes{};
  Int4 numbers{};
  std::size_t i = 0;
  for (; i + kReach <= out.size(); i += 4) {
    load(from + 3 * i, bytes);
    bytes =
        __builtin_shufflevector(bytes, zeros, 16, 0, 1, 2, 16, 3, 4, 5, 16, 6, 7, 8, 16, 9, 10, 11);
    std::memcpy(&numbers, &bytes, sizeof numbers);
    store(__builtin_convertvector(numbers, Float4) * kStep, &out[i]);
  }
  for (; i < out.size(); ++i) {
    std::uint32_t number = 0;
    std::memcpy(&number, from + 3 * i, 3);
    out[i] = sample_of(number << 8U);
  }
}

KILTER_WIDE void samples_of_32(const char* from, std::span<float> out) {
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = sample_of(number_at<std::uint32_t>(from + 4 * i));
}

}  // namespace

int pcm_bytes_per_sample(SNDFILE* handle, const SF_INFO& header) {
  if constexpr (std::endian::native != std::endian::little) return 0;
  const int type = header.format & SF_FORMAT_TYPEMASK;
  if (type != SF_FORMAT_WAV && type != SF_FORMAT_WAVEX && type != SF_FORMAT_RF64 &&
      type != SF_FORMAT_W64)
    return 0;
  if (sf_command(handle, SFC_RAW_DATA_NEEDS_ENDSWAP, nullptr, 0) != SF_FALSE) return 0;
  switch (header.format & SF_FORMAT_SUBMASK) {
    case SF_FORMAT_PCM_16:
      return 2;
    case SF_FORMAT_PCM_24:
      return 3;
    case SF_FORMAT_PCM_32:
      return 4;
    default:
      return 0;
  }
}

void samples_of_pcm(std::span<const char> bytes, int bytes_per_sample, std::span<float> out) {
  assert(bytes.size() == out.size() * static_cast<std::size_t>(bytes_per_sample));
  if (bytes_per_sample == 2) samples_of_16(bytes.data(), out);
  if (bytes_per_sample == 3) samples_of_24(bytes.data(), out);
  if (bytes_per_sample == 4) samples_of_32(bytes.data(), out);
}

}  // namespace kilter::media
