// Units that the rest of the program passes around. Inside a DSP loop plain doubles with a suffix
// (`lag_frames`, `drift_ppm`) are used instead.
#pragma once

#include <compare>
#include <cstdint>

namespace kilter {

/// A count of sample frames (one sample of every channel), or a position in them.
struct Frames {
  std::int64_t n{0};
  auto operator<=>(const Frames&) const = default;
};

/// Frames per second, as a file header states it (nominal), above 0.
struct SampleRate {
  double hz{0.0};
  auto operator<=>(const SampleRate&) const = default;
};

struct Seconds {
  double s{0.0};
  auto operator<=>(const Seconds&) const = default;
};

constexpr Seconds to_seconds(Frames frames, SampleRate rate) {
  return {static_cast<double>(frames.n) / rate.hz};
}

}  // namespace kilter
