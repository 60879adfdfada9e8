// A number that tells channels apart by their samples.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace kilter {

/// Equal for channels of equal samples, however they come in blocks; of others, different but for
/// chance of 2^-64 or so (it is no defence against somebody who wants two to be equal). 0.0 and
/// -0.0 count as different. Cost: three additions a sample.
class SampleDigest {
 public:
  void process(std::span<const float> frames);
  /// Of all that came so far.
  std::uint64_t value() const;

 private:
  static constexpr std::size_t kLanes = 8;
  void add_each(std::span<const float> frames);

  // Sums of the samples' bits and sums of those sums: lanes by turns, as vectors hold them.
  std::array<std::uint32_t, kLanes> plain_{};
  std::array<std::uint32_t, kLanes> weighted_{};  // by how long ago a sample came
  std::size_t count_{0};
};

}  // namespace kilter
