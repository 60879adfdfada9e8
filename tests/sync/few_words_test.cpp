#include "kilter/sync/few_words.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "voices.h"

namespace kilter::sync {
namespace {

constexpr double kLength_s = 60.0;

std::vector<float> voice(int speaker, double length_s = kLength_s) {
  return voice_of(31, speaker, length_s);
}

/// A microphone's noise, and what is said into it from one second of `spoken` to another.
std::vector<float> track_of(const std::vector<float>& spoken,
                            const std::vector<std::pair<double, double>>& words,
                            float gain = 1.0F) {
  std::mt19937 engine(5);
  std::normal_distribution<float> noise(0.0F, 1e-4F);
  std::vector<float> track(spoken.size());
  for (float& x : track) x = noise(engine);
  for (const auto& [from_s, to_s] : words)
    for (std::ptrdiff_t i = frame(from_s); i < frame(to_s); ++i)
      track[static_cast<std::size_t>(i)] += gain * spoken[static_cast<std::size_t>(i)];
  return track;
}

std::vector<float> sum(const std::vector<float>& a, const std::vector<float>& b) {
  std::vector<float> out(a.size());
  for (std::size_t i = 0; i < a.size(); ++i) out[i] = a[i] + (i < b.size() ? b[i] : 0.0F);
  return out;
}

FirstMap map_of(const std::vector<float>& mix, const std::vector<float>& track) {
  const MemorySignal reference(mix);
  const MemorySignal heard(track);
  const auto map = map_of_few_words(reference, heard);
  EXPECT_TRUE(map);
  return *map;
}

TEST(AFewWords, TellWhereATrackLies) {
  const std::vector<float> guest = track_of(voice(0), {{12.0, 14.2}, {41.0, 42.6}});
  const std::vector<float> mix = sum(guest, voice(1));
  std::vector<float> late = guest;  // begins 5 s later than the mix
  late.erase(late.begin(), late.begin() + frame(5.0));
  const FirstMap map = map_of(mix, late);
  ASSERT_TRUE(map.found);
  EXPECT_NEAR(map.lag_s, 5.0, 0.1e-3);
  EXPECT_NEAR(map.drift_ppm, 0.0, 5.0);
  EXPECT_EQ(map.votes.size(), 2U);
}

TEST(AFewWords, MayBeUpsideDown) {
  const std::vector<float> mix = sum(track_of(voice(0), {{12.0, 14.2}}), voice(1));
  const FirstMap map = map_of(mix, track_of(voice(0), {{12.0, 14.2}}, -0.2F));
  ASSERT_TRUE(map.found);
  EXPECT_NEAR(map.lag_s, 0.0, 0.1e-3);
  EXPECT_EQ(map.drift_ppm, 0.0) << "one passage says nothing of the clock";
}

TEST(AFewWords, OfAnotherSessionAreNotFound) {
  EXPECT_FALSE(
      map_of(sum(voice(1), voice(2)), track_of(voice(0), {{12.0, 14.2}, {41.0, 43.0}})).found);
}

TEST(AFewWords, ThatTheMixHoldsTwiceDoNotTell) {
  const std::vector<float> guest = track_of(voice(0), {{12.0, 14.2}});
  std::vector<float> mix = guest;
  mix.insert(mix.end(), guest.begin(), guest.end());
  EXPECT_FALSE(map_of(mix, guest).found);
}

TEST(AFewWords, AreNotInNoiseNorInSilence) {
  EXPECT_FALSE(map_of(voice(1), track_of(voice(0), {})).found);
  EXPECT_FALSE(map_of(voice(1), std::vector<float>(16000 * 20, 0.0F)).found);
  EXPECT_FALSE(map_of(voice(1), std::vector<float>(100, 0.5F)).found);
}

}  // namespace
}  // namespace kilter::sync
