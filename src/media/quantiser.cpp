#include "quantiser.h"

#include <algorithm>
#include <array>

namespace kilter::media {
namespace {

/// Added and taken away again it leaves a double below 2^51 rounded to a whole number, ties to
/// even, without a call: beyond 2^52 a double has no fraction. 1.5 keeps negative ones there too.
constexpr double kRound = 0x1.8p52;
constexpr std::uint64_t kGolden = 0x9E3779B97F4A7C15U;  // 2^64 over the golden ratio
constexpr std::size_t kBlock = 512;

/// SplitMix64's finaliser (Steele, Lea and Flood, OOPSLA 2014): every bit of the result depends on
/// every bit of the number.
constexpr std::uint64_t scramble(std::uint64_t number) {
  number = (number ^ (number >> 30U)) * 0xBF58476D1CE4E5B9U;
  number = (number ^ (number >> 27U)) * 0x94D049BB133111EBU;
  return number ^ (number >> 31U);
}

/// Full scale, in steps and in samples. Floats hold these bounds, but for the lower one of 24 bits:
/// it becomes -1, and the next float below -1 lies beyond both.
struct Scale {
  explicit Scale(int bits)
      : steps(static_cast<double>(1 << (bits - 1))),
        lowest(-steps),
        highest(steps - 1.0),
        clips_below(static_cast<float>((lowest - 0.5) / steps)),
        clips_from(static_cast<float>((highest + 0.5) / steps)) {}
  double steps;
  double lowest;
  double highest;
  float clips_below;
  float clips_from;

  std::int32_t whole(double value) const {
    value = value < lowest ? lowest : value;
    value = value > highest ? highest : value;
    return static_cast<std::int32_t>((value + kRound) - kRound);
  }
};

/// What rounds beyond full scale: the upper tie goes up to the even number, the lower one stays.
std::int64_t count_clipped(std::span<const float> samples, const Scale& scale) {
  std::int64_t clipped = 0;
  while (!samples.empty()) {
    const auto block = samples.first(std::min(samples.size(), kBlock));
    std::int32_t in_block = 0;  // as wide as a sample, which keeps the loop simple
    for (const float sample : block)
      in_block += static_cast<std::int32_t>(sample >= scale.clips_from) |
                  static_cast<std::int32_t>(sample < scale.clips_below);
    clipped += in_block;
    samples = samples.subspan(block.size());
  }
  return clipped;
}

/// Differences of two uniform numbers of 31 bits: triangular, without a mean.
void fill_noise(std::uint64_t key, std::uint64_t first, std::span<std::int32_t> noise) {
  for (std::size_t i = 0; i < noise.size(); ++i) {
    const std::uint64_t drawn = scramble(key + (first + i) * kGolden);
    noise[i] =
        static_cast<std::int32_t>(drawn >> 33U) - static_cast<std::int32_t>(drawn & 0x7FFFFFFFU);
  }
}

}  // namespace

std::int64_t quantise(std::span<const float> samples, int bits, std::int32_t* steps) {
  const Scale scale(bits);
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const float sample = samples[i] == samples[i] ? samples[i] : 0.0F;
    steps[i] = scale.whole(static_cast<double>(sample) * scale.steps);
  }
  return count_clipped(samples, scale);
}

std::int64_t quantise_dithered(std::span<const float> samples, int bits, std::uint64_t seed,
                               std::uint64_t first, std::int32_t* steps) {
  const Scale scale(bits);
  const std::uint64_t key = scramble(seed + kGolden);
  std::array<std::int32_t, kBlock> noise;  // NOLINT: filled before it is read
  for (std::size_t at = 0; at < samples.size(); at += kBlock) {
    const auto block = samples.subspan(at, std::min(kBlock, samples.size() - at));
    fill_noise(key, first + at, std::span(noise).first(block.size()));
    for (std::size_t i = 0; i < block.size(); ++i) {
      const float sample = block[i] == block[i] ? block[i] : 0.0F;
      const double value = static_cast<double>(sample) * scale.steps;
      const double added = sample == 0.0F ? 0.0 : static_cast<double>(noise[i]) * 0x1p-31;
      steps[at + i] = scale.whole(value + added);
    }
  }
  return count_clipped(samples, scale);
}

}  // namespace kilter::media
