// Voices at the analysis rate.
#pragma once

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "simulator/voices.h"
#include "support/reduce.h"

namespace kilter::sync {

inline std::ptrdiff_t frame(double s) {
  return static_cast<std::ptrdiff_t>(std::lround(s * kAnalysisRateHz));
}

/// `sound` is at the rate of the simulated world.
inline std::vector<float> at_analysis_rate(const std::vector<float>& sound) {
  const auto reduced = test::reduce(sound, simulator::kWorldRateHz);
  std::vector<float> samples(static_cast<std::size_t>(reduced->frames()));
  EXPECT_TRUE(reduced->read(0, samples));
  return samples;
}

/// Somebody who talks on and on, as the simulator's voices of that seed do.
inline std::vector<float> voice_of(std::uint64_t seed, int speaker, double length_s) {
  const simulator::SyntheticVoices voices(seed);
  return at_analysis_rate(
      voices.utterance(speaker, 0, static_cast<std::int64_t>(length_s * simulator::kWorldRateHz)));
}

}  // namespace kilter::sync
