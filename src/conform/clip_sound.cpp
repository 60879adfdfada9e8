#include "clip_sound.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace kilter::conform {
namespace {

double power_of(std::span<const float> sound) {
  double sum = 0.0;
  for (const float sample : sound) sum += static_cast<double>(sample) * static_cast<double>(sample);
  return sound.empty() ? 0.0 : sum / static_cast<double>(sound.size());
}

/// What the right side is multiplied with.
double matching_gain(double left_power, double right_power) {
  constexpr double kLeast = 1e-8;       // -80 dBFS: nobody speaks
  constexpr double kMost = 31.6227766;  // 30 dB
  if (left_power < kLeast || right_power < kLeast) return 1.0;
  return std::clamp(std::sqrt(left_power / right_power), 1.0 / kMost, kMost);
}

}  // namespace

std::vector<float> together(std::span<const float> interleaved, int channels) {
  constexpr double kCancelled = 0.1;
  const auto count = static_cast<std::size_t>(channels);
  const std::size_t frames = interleaved.size() / count;
  std::vector<float> mean(frames);
  std::vector<float> loudest;
  double loudest_power = -1.0;
  double powers = 0.0;
  for (std::size_t c = 0; c < count; ++c) {
    std::vector<float> channel(frames);
    for (std::size_t i = 0; i < frames; ++i) {
      channel[i] = interleaved[i * count + c];
      mean[i] += channel[i] / static_cast<float>(channels);
    }
    const double power = power_of(channel);
    powers += power / channels;
    if (power <= loudest_power) continue;
    loudest_power = power;
    loudest = std::move(channel);
  }
  // Different sound on each of many sides adds up to little, too, but to no less than its share.
  return power_of(mean) < kCancelled * powers / channels ? loudest : mean;
}

double speech_power(std::span<const float> sound, double rate_hz) {
  constexpr double kStretch_s = 0.05;
  constexpr double kShare = 0.95;
  const auto stretch = std::max<std::size_t>(1, static_cast<std::size_t>(kStretch_s * rate_hz));
  std::vector<double> powers;
  for (std::size_t at = 0; at < sound.size(); at += stretch)
    powers.push_back(power_of(sound.subspan(at, std::min(stretch, sound.size() - at))));
  if (powers.empty()) return 0.0;
  const auto rank =
      powers.begin() + static_cast<std::ptrdiff_t>(kShare * static_cast<double>(powers.size() - 1));
  std::nth_element(powers.begin(), rank, powers.end());
  return *rank;
}

std::vector<float> beside(std::span<const float> left, std::span<const float> right,
                          double rate_hz) {
  const auto gain =
      static_cast<float>(matching_gain(speech_power(left, rate_hz), speech_power(right, rate_hz)));
  std::vector<float> stereo;
  stereo.reserve(2 * left.size());
  float peak = 0.0F;
  for (std::size_t i = 0; i < left.size(); ++i) {
    stereo.push_back(left[i]);
    stereo.push_back(gain * right[i]);
    peak = std::max({peak, std::abs(left[i]), std::abs(gain * right[i])});
  }
  constexpr float kMost = 0.999F;  // and dither stays below full scale
  if (peak > kMost)
    for (float& sample : stereo) sample *= kMost / peak;
  return stereo;
}

std::size_t talk_second(std::span<const double> powers, std::size_t seconds, bool last) {
  constexpr double kNearLoudest = 0.5;
  if (powers.size() <= seconds) return 0;
  std::vector<double> sums;
  for (std::size_t i = 0; i + seconds <= powers.size(); ++i)
    sums.push_back(std::accumulate(powers.begin() + static_cast<std::ptrdiff_t>(i),
                                   powers.begin() + static_cast<std::ptrdiff_t>(i + seconds), 0.0));
  const double least = kNearLoudest * *std::max_element(sums.begin(), sums.end());
  const auto is_loud = [&](double sum) { return sum >= least; };
  if (!last)
    return static_cast<std::size_t>(std::find_if(sums.begin(), sums.end(), is_loud) - sums.begin());
  return static_cast<std::size_t>(sums.rend() - std::find_if(sums.rbegin(), sums.rend(), is_loud)) -
         1;
}

}  // namespace kilter::conform
