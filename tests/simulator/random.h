// Small random numbers that are the same with every standard library.
#pragma once

#include <cstdint>
#include <initializer_list>

namespace kilter::simulator {

/// A counter put through a mixing function (the SplitMix64 construction: Steele, Lea, Flood,
/// "Fast Splittable Pseudorandom Number Generators", 2014). Streams with different keys do not
/// meet in practice.
class Random {
 public:
  /// One stream per set of keys, for example {session seed, purpose, person}.
  explicit Random(std::initializer_list<std::uint64_t> keys) {
    for (const std::uint64_t key : keys) state_ = mix(state_ + kStep) ^ mix(key + kStep);
  }

  std::uint64_t bits() { return mix(state_ += kStep); }
  /// As if so many numbers had been drawn; fewer than 0 goes back.
  void skip(std::int64_t count) { state_ += kStep * static_cast<std::uint64_t>(count); }
  /// Even over [0, 1).
  double uniform() { return static_cast<double>(bits() >> 11) * 0x1p-53; }
  double between(double low, double high) { return low + (high - low) * uniform(); }
  bool chance(double probability) { return uniform() < probability; }
  /// Even over 0 .. count - 1; `count` above 0 and small.
  int index(int count) { return static_cast<int>(uniform() * count); }
  double sign() { return chance(0.5) ? 1.0 : -1.0; }
  /// Nearly Gaussian noise of unit variance, bounded by +-3.5: the sum of four even numbers.
  float noise() {
    const std::uint64_t b = bits();
    const auto sum = static_cast<std::int32_t>((b & 0xffff) + ((b >> 16) & 0xffff) +
                                               ((b >> 32) & 0xffff) + (b >> 48));
    return static_cast<float>(sum - 131070) * (1.0F / 37837.2F);
  }

 private:
  static constexpr std::uint64_t kStep = 0x9e3779b97f4a7c15;
  static std::uint64_t mix(std::uint64_t z) {
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9;
    z = (z ^ (z >> 27)) * 0x94d049bb133111eb;
    return z ^ (z >> 31);
  }

  std::uint64_t state_{0};
};

}  // namespace kilter::simulator
