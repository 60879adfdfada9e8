// Onset features without any sound behind them.
#pragma once

#include <cstdint>

#include "kilter/signal/onset_features.h"
#include "simulator/random.h"

namespace kilter::test {

/// Features of independent rises, as the real ones: mostly low, seldom as high as `rise`.
inline OnsetFeatures random_features(std::uint64_t seed, int frames, std::int8_t rise) {
  simulator::Random random({seed});
  OnsetFeatures features;
  for (auto& band : features.bands)
    for (int i = 0; i < frames; ++i) {
      const auto x = static_cast<double>(random.noise());
      band.push_back(x > 1.2 ? rise : std::int8_t{-12});
    }
  return features;
}

}  // namespace kilter::test
