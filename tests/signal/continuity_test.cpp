#include "kilter/signal/continuity.h"

#include <gtest/gtest.h>

#include <cstdint>
#include <random>
#include <vector>

namespace kilter {
namespace {

constexpr std::size_t kEnds = 4096;
constexpr int kTrials = 100;

/// A room at rest: noise that falls with frequency, with a microphone's own white noise on top.
std::vector<float> room_noise(std::uint32_t seed, double own_noise) {
  std::mt19937 generator(seed);
  std::normal_distribution<double> normal;
  std::vector<float> sound(2 * kEnds);
  double low = 0.0;
  double lower = 0.0;
  for (std::size_t i = 0; i < sound.size() + kEnds; ++i) {
    low += 0.2 * (normal(generator) - low);
    lower += 0.1 * (low - lower);
    const double value = 0.01 * (lower + own_noise * normal(generator));
    if (i >= kEnds) sound[i - kEnds] = static_cast<float>(value);
  }
  return sound;
}

struct Outcomes {
  int taken_as_one{0};
  int taken_as_two{0};
};

/// Over many sounds, each cut in two; `whole`: the other half of the same one follows.
Outcomes outcomes(bool whole, double own_noise, double surely_nats) {
  Outcomes result;
  for (std::uint32_t i = 0; i < kTrials; ++i) {
    const std::vector<float> one = room_noise(2 * i, own_noise);
    const std::vector<float> other = whole ? one : room_noise(2 * i + 1, own_noise);
    const double nats = continuity_nats(std::span(one).first(kEnds), std::span(other).last(kEnds));
    if (nats > surely_nats) ++result.taken_as_one;
    if (nats < -surely_nats) ++result.taken_as_two;
  }
  return result;
}

TEST(Continuity, OfOneSoundCutInTwoIsFelt) {
  const Outcomes quiet_microphone = outcomes(true, 0.0005, 2.0);
  EXPECT_GT(quiet_microphone.taken_as_one, kTrials * 7 / 10);
  EXPECT_LE(quiet_microphone.taken_as_two, kTrials / 50);
}

TEST(Continuity, OfTwoSoundsPutTogetherIsDenied) {
  const Outcomes quiet_microphone = outcomes(false, 0.0005, 2.0);
  EXPECT_GT(quiet_microphone.taken_as_two, kTrials * 7 / 10);
  // A chance of exp(-2) at the most, by what a nat is.
  EXPECT_LT(quiet_microphone.taken_as_one, kTrials / 10);
}

TEST(Continuity, IsLeftOpenWhereTheMicrophonesNoiseCoversAll) {
  for (const bool whole : {true, false}) {
    const Outcomes noisy = outcomes(whole, 10.0, 2.0);
    EXPECT_EQ(noisy.taken_as_one, 0);
    EXPECT_EQ(noisy.taken_as_two, 0);
  }
}

TEST(Continuity, TellsNothingOfSilenceOrOfTooLittle) {
  const std::vector<float> silence(kEnds, 0.0F);
  const std::vector<float> sound = room_noise(1, 0.003);
  const std::span<const float> whole(sound);
  EXPECT_EQ(continuity_nats(silence, silence), 0.0);
  EXPECT_EQ(continuity_nats(whole.first(kEnds), silence), 0.0);
  EXPECT_EQ(continuity_nats(whole.first(200), whole.subspan(200)), 0.0);
}

TEST(Continuity, DoesNotChangeWithLevel) {
  std::vector<float> sound = room_noise(7, 0.003);
  const auto nats = [&] {
    return continuity_nats(std::span(sound).first(kEnds), std::span(sound).last(kEnds));
  };
  const double loud = nats();
  for (float& sample : sound) sample *= 0.1F;
  EXPECT_NEAR(nats(), loud, 1e-3);
}

}  // namespace
}  // namespace kilter
