#include "clip_sound.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "support/sound_files.h"

namespace kilter::conform {
namespace {

using test::noise;
using test::Samples;

constexpr double kRate_hz = 8000.0;
constexpr std::size_t kSecond = 8000;

Samples interleaved(const Samples& a, const Samples& b) {
  Samples both;
  for (std::size_t i = 0; i < a.size(); ++i) {
    both.push_back(a[i]);
    both.push_back(b[i]);
  }
  return both;
}

Samples times(Samples sound, float gain) {
  for (float& sample : sound) sample *= gain;
  return sound;
}

Samples side(const Samples& stereo, std::size_t which) {
  Samples one;
  for (std::size_t i = which; i < stereo.size(); i += 2) one.push_back(stereo[i]);
  return one;
}

TEST(ClipSound, HearsAMixWithBothItsSides) {
  const Samples voice = noise(kSecond, 0.5F, 1);
  const Samples mean = together(interleaved(voice, times(voice, 0.5F)), 2);
  for (std::size_t i = 0; i < kSecond; ++i) ASSERT_NEAR(mean[i], 0.75F * voice[i], 1e-6F);
  const Samples other = noise(kSecond, 0.5F, 2);
  const Samples both = together(interleaved(voice, other), 2);  // two voices, one on each side
  for (std::size_t i = 0; i < kSecond; ++i)
    ASSERT_NEAR(both[i], 0.5F * (voice[i] + other[i]), 1e-6F);
}

TEST(ClipSound, HearsTheLouderSideOfAMixThatCancels) {
  const Samples voice = noise(kSecond, 0.5F, 1);
  EXPECT_EQ(together(interleaved(times(voice, -0.9F), voice), 2), voice);
  EXPECT_EQ(together(interleaved(voice, times(voice, -0.9F)), 2), voice);
}

TEST(ClipSound, MeasuresSpeechAndNotThePausesAroundIt) {
  Samples sound = noise(4 * kSecond, 0.5F, 1);  // power 1/12
  EXPECT_NEAR(speech_power(sound, kRate_hz), 1.0 / 12.0, 0.01);
  std::fill(sound.begin() + kSecond, sound.end(), 0.0F);
  EXPECT_NEAR(speech_power(sound, kRate_hz), 1.0 / 12.0, 0.01);
  EXPECT_EQ(speech_power({}, kRate_hz), 0.0);
}

TEST(ClipSound, BringsTheStemToTheLevelOfTheMix) {
  const Samples voice = noise(kSecond, 0.4F, 1);
  for (const float gain : {0.05F, 1.0F, 2.0F}) {
    const Samples stereo = beside(voice, times(voice, gain), kRate_hz);
    EXPECT_EQ(side(stereo, 0), voice);
    const Samples right = side(stereo, 1);
    for (std::size_t i = 0; i < kSecond; ++i) ASSERT_NEAR(right[i], voice[i], 1e-5F) << gain;
  }
}

TEST(ClipSound, BlowsUpNoNoiseAndNoSilence) {
  const Samples voice = noise(kSecond, 0.4F, 1);
  const Samples faint = times(noise(kSecond, 0.4F, 2), 0.001F);  // 60 dB down: 30 dB of that
  const Samples right = side(beside(voice, faint, kRate_hz), 1);
  for (std::size_t i = 0; i < kSecond; ++i) ASSERT_NEAR(right[i], 31.6228F * faint[i], 1e-5F);
  const Samples silence(kSecond);
  EXPECT_EQ(side(beside(voice, silence, kRate_hz), 1), silence);
}

TEST(ClipSound, TurnsBothSidesDownWhereOneWouldGoBeyondFullScale) {
  // The stem is quiet but for one click, which the gain would carry to 4.
  const Samples voice = noise(kSecond, 0.4F, 1);
  Samples stem = times(voice, 0.1F);
  stem[100] = 0.4F;
  const Samples stereo = beside(voice, stem, kRate_hz);
  float peak = 0.0F;
  for (const float sample : stereo) peak = std::max(peak, std::abs(sample));
  EXPECT_FLOAT_EQ(peak, 0.999F);
  const Samples left = side(stereo, 0);
  const float down = left[0] / voice[0];
  EXPECT_LT(down, 0.3F);
  for (std::size_t i = 0; i < kSecond; ++i) ASSERT_NEAR(left[i], down * voice[i], 1e-6F);
}

TEST(ClipSound, FindsTheFirstAndTheLastTalkOfAMinute) {
  std::vector<double> powers(60, 1e-6);
  for (const std::size_t loud : {20U, 21U, 22U, 23U, 24U, 40U, 41U, 42U, 43U, 44U})
    powers[loud] = 1.0;
  // At least half of the loudest five seconds: three of them.
  EXPECT_EQ(talk_second(powers, 5, false), 18U);
  EXPECT_EQ(talk_second(powers, 5, true), 42U);
  EXPECT_EQ(talk_second(std::vector<double>(60, 0.0), 5, false), 0U);
  EXPECT_EQ(talk_second(std::vector<double>(60, 0.0), 5, true), 55U);
  EXPECT_EQ(talk_second(std::vector<double>(3, 1.0), 5, true), 0U);
}

}  // namespace
}  // namespace kilter::conform
