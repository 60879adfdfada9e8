#include "quantiser.h"

#include <algorithm>
#include <array>

// A second compilation for wider registers: whole numbers and single operations on doubles, so it
// gives the same bits.
#if defined(__x86_64__) && defined(__GNUC__)
#define KILTER_HAS_AVX2 1
#endif

namespace kilter::media {
namespace {

/// Added and taken away again it leaves a double below 2^51 rounded to a whole number, ties to
/// even, without a call: beyond 2^52 a double has no fraction. 1.5 keeps negative ones there too.
constexpr double kRound = 0x1.8p52;
constexpr std::uint64_t kGolden = 0x9E3779B97F4A7C15U;  // 2^64 over the golden ratio
constexpr std::size_t kBlock = 512;
constexpr std::uint64_t kPage = std::uint64_t{1} << 32U;

/// SplitMix64's finaliser (Steele, Lea and Flood, OOPSLA 2014): every bit of the result depends on
/// every bit of the number.
constexpr std::uint64_t scramble(std::uint64_t number) {
  number = (number ^ (number >> 30U)) * 0xBF58476D1CE4E5B9U;
  number = (number ^ (number >> 27U)) * 0x94D049BB133111EBU;
  return number ^ (number >> 31U);
}

/// The same in 32 bits, of which a processor works on several at a time: MurmurHash3's finaliser.
[[gnu::always_inline]] constexpr std::uint32_t scramble(std::uint32_t number) {
  number = (number ^ (number >> 16U)) * 0x85EBCA6BU;
  number = (number ^ (number >> 13U)) * 0xC2B2AE35U;
  return number ^ (number >> 16U);
}

/// Full scale, in steps and in samples. Floats hold the lower bound, but for that of 24 bits: it
/// becomes -1, and the next float below -1 lies beyond both.
struct Scale {
  explicit Scale(int bits)
      : steps(static_cast<double>(1 << (bits - 1))),
        lowest(-steps),
        highest(steps - 1.0),
        clips_below(static_cast<float>((lowest - 0.5) / steps)) {}
  double steps;
  double lowest;
  double highest;
  float clips_below;
  /// +1 is full scale, and one step more than there is: what a -1 becomes that is turned round.
  float clips_above{1.0F};

  [[gnu::always_inline]] std::int32_t whole(double value) const {
    value = value < lowest ? lowest : value;
    value = value > highest ? highest : value;
    return static_cast<std::int32_t>((value + kRound) - kRound);
  }
};

/// What lies beyond full scale by more than rounding.
[[gnu::always_inline]] inline std::int64_t count_clipped(std::span<const float> samples,
                                                         const Scale& scale) {
  std::int64_t clipped = 0;
  while (!samples.empty()) {
    const auto block = samples.first(std::min(samples.size(), kBlock));
    std::int32_t in_block = 0;  // as wide as a sample, which keeps the loop simple
    for (const float sample : block)
      in_block += static_cast<std::int32_t>(sample > scale.clips_above) |
                  static_cast<std::int32_t>(sample < scale.clips_below);
    clipped += in_block;
    samples = samples.subspan(block.size());
  }
  return clipped;
}

/// Differences of two uniform numbers of 16 bits: triangular, without a mean. All in one page.
[[gnu::always_inline]] inline void fill_noise(std::uint64_t key, std::uint64_t first,
                                              std::span<std::int32_t> noise) {
  const std::uint64_t page = scramble(key + (first / kPage) * kGolden);
  const auto offset = static_cast<std::uint32_t>(page);
  const auto other = static_cast<std::uint32_t>(page >> 32U);
  const auto from = static_cast<std::uint32_t>(first);
  for (std::size_t i = 0; i < noise.size(); ++i) {
    const std::uint32_t place = from + static_cast<std::uint32_t>(i);
    const std::uint32_t drawn = scramble(scramble(place + offset) ^ other);
    noise[i] = static_cast<std::int32_t>(drawn >> 16U) - static_cast<std::int32_t>(drawn & 0xFFFFU);
  }
}

[[gnu::always_inline]] inline std::int64_t quantise_here(std::span<const float> samples, int bits,
                                                         std::int32_t* steps) {
  const Scale scale(bits);
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const float sample = samples[i] == samples[i] ? samples[i] : 0.0F;
    steps[i] = scale.whole(static_cast<double>(sample) * scale.steps);
  }
  return count_clipped(samples, scale);
}

[[gnu::always_inline]] inline std::int64_t quantise_dithered_here(std::span<const float> samples,
                                                                  int bits, std::uint64_t seed,
                                                                  std::uint64_t first,
                                                                  std::int32_t* steps) {
  const Scale scale(bits);
  const std::uint64_t key = scramble(seed + kGolden);
  std::array<std::int32_t, kBlock> noise;  // NOLINT: filled before it is read
  for (std::size_t at = 0; at < samples.size();) {
    const std::uint64_t page_left = kPage - (first + at) % kPage;
    const auto block = samples.subspan(
        at, std::min({kBlock, samples.size() - at, static_cast<std::size_t>(page_left)}));
    fill_noise(key, first + at, std::span(noise).first(block.size()));
    for (std::size_t i = 0; i < block.size(); ++i) {
      const float sample = block[i] == block[i] ? block[i] : 0.0F;
      const double value = static_cast<double>(sample) * scale.steps;
      const double added = sample == 0.0F ? 0.0 : static_cast<double>(noise[i]) * 0x1p-16;
      steps[at + i] = scale.whole(value + added);
    }
    at += block.size();
  }
  return count_clipped(samples, scale);
}

#ifdef KILTER_HAS_AVX2
[[gnu::target("avx2")]] std::int64_t quantise_by_avx2(std::span<const float> samples, int bits,
                                                      std::int32_t* steps) {
  return quantise_here(samples, bits, steps);
}
[[gnu::target("avx2")]] std::int64_t quantise_dithered_by_avx2(std::span<const float> samples,
                                                               int bits, std::uint64_t seed,
                                                               std::uint64_t first,
                                                               std::int32_t* steps) {
  return quantise_dithered_here(samples, bits, seed, first, steps);
}
bool has_avx2() {
  static const bool has = __builtin_cpu_supports("avx2") != 0;
  return has;
}
#endif

}  // namespace

std::int64_t quantise(std::span<const float> samples, int bits, std::int32_t* steps) {
#ifdef KILTER_HAS_AVX2
  if (has_avx2()) return quantise_by_avx2(samples, bits, steps);
#endif
  return quantise_here(samples, bits, steps);
}

std::int64_t quantise_dithered(std::span<const float> samples, int bits, std::uint64_t seed,
                               std::uint64_t first, std::int32_t* steps) {
#ifdef KILTER_HAS_AVX2
  if (has_avx2()) return quantise_dithered_by_avx2(samples, bits, seed, first, steps);
#endif
  return quantise_dithered_here(samples, bits, seed, first, steps);
}

}  // namespace kilter::media
