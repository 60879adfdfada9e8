#include "voices.h"

#include <algorithm>
#include <cmath>

namespace kilter::simulator {

void finish_utterance(std::vector<float>& samples) {
  constexpr std::size_t kFade = kWorldRateHz / 100;
  const std::size_t fade = std::min(kFade, samples.size() / 2);
  for (std::size_t i = 0; i < fade; ++i) {
    const float gain = static_cast<float>(i) / static_cast<float>(fade);
    samples[i] *= gain;
    samples[samples.size() - 1 - i] *= gain;
  }
  double energy = 0.0;
  for (const float x : samples) energy += static_cast<double>(x) * x;
  if (!(energy > 0.0)) return;
  const auto gain = static_cast<float>(std::sqrt(static_cast<double>(samples.size()) / energy));
  for (float& x : samples) x *= gain;
}

}  // namespace kilter::simulator
