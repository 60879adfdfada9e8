#include "mixdown.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "random.h"
#include "sound_delay.h"

namespace kilter::simulator {
namespace {

constexpr std::size_t kRate = kWorldRateHz;

double db(double ratio) { return 20.0 * std::log10(ratio); }

std::vector<float> noise(std::size_t frames) {
  Random random{1};
  std::vector<float> out(frames);
  for (float& x : out) x = random.noise();
  return out;
}

TEST(GainRiding, StaysInItsRangeAndMovesSlowly) {
  std::vector<float> gain(60 * kRate, 1.0F);
  ride_gain(3, 6.0, gain);
  const auto [least, most] = std::minmax_element(gain.begin(), gain.end());
  EXPECT_GE(db(*least), -6.001);
  EXPECT_LE(db(*most), 6.001);
  EXPECT_GT(db(*most / *least), 6.0);  // it does ride
  for (std::size_t i = 0; i + kRate / 100 < gain.size(); ++i)
    ASSERT_LT(std::abs(db(gain[i + kRate / 100] / gain[i])), 0.1);  // in 10 ms
}

TEST(Ducking, TurnsDownWhoIsSilent) {
  const std::vector<Utterance> talk{{0, 2.0, 3.0}, {1, 6.0, 3.0}};
  std::vector<float> gain(10 * kRate, 1.0F);
  duck_pauses(talk, 0, -12.0, 0.0, gain);
  EXPECT_NEAR(db(gain[kRate]), -12.0, 0.01);
  EXPECT_NEAR(db(gain[3 * kRate]), 0.0, 0.01);
  EXPECT_NEAR(db(gain[8 * kRate]), -12.0, 0.1);  // another's turn
}

TEST(Stream, LimitsTheBandWithoutMovingTheSound) {
  std::vector<float> sound = noise(4 * kRate);
  const std::vector<float> before = sound;
  Stream stream;
  stream.low_pass_hz = 7000.0;
  const auto delay_s = send_through(stream, 1, {}, 0, sound);
  ASSERT_TRUE(delay_s);
  EXPECT_EQ(*delay_s, 0.0);
  EXPECT_NEAR(mean_delay_s(before, sound, kWorldRateHz), 0.0, 1e-8);
  double power = 0.0;
  for (const float x : sound) power += static_cast<double>(x) * x;
  EXPECT_NEAR(power / static_cast<double>(sound.size()), 7.0 / 24.0, 0.01);  // what is left of it
}

TEST(BusFilters, HaveTheGainAndTheLeadThatTheHeaderTells) {
  std::vector<float> pulse(kRate, 0.0F);
  pulse[0] = 1.0F;
  filter_bus(pulse);
  const auto response = [&](double hz) {
    std::complex<double> sum = 0.0;
    for (std::size_t i = 0; i < pulse.size(); ++i)
      sum += static_cast<double>(pulse[i]) *
             std::polar(1.0, -2.0 * std::numbers::pi * hz * static_cast<double>(i) / kRate);
    return sum;
  };
  const auto lead_us = [&](double hz) {
    return 1e6 * std::arg(response(hz)) / (2.0 * std::numbers::pi * hz);
  };
  EXPECT_NEAR(db(std::abs(response(80.0))), -3.0, 0.1);
  EXPECT_NEAR(db(std::abs(response(1000.0))), 0.1, 0.1);
  EXPECT_NEAR(db(std::abs(response(4000.0))), 1.0, 0.1);
  EXPECT_NEAR(db(std::abs(response(16000.0))), 2.0, 0.1);
  EXPECT_NEAR(lead_us(500.0), 81.0, 1.0);
  EXPECT_NEAR(lead_us(2000.0), 12.0, 0.5);
  std::vector<float> sound = noise(8 * kRate);
  const std::vector<float> before = sound;
  filter_bus(sound);
  EXPECT_NEAR(1e6 * mean_delay_s(before, sound, kWorldRateHz), -4.4, 0.1);
}

TEST(MeanDelay, FindsWholeFramesAndFractions) {
  const std::vector<float> sound = noise(4 * kRate);
  std::vector<float> later(sound.size(), 0.0F);
  std::copy(sound.begin(), sound.end() - 1105, later.begin() + 1105);
  EXPECT_NEAR(mean_delay_s(sound, later, kWorldRateHz) * kWorldRateHz, 1105.0, 0.01);
  EXPECT_NEAR(mean_delay_s(later, sound, kWorldRateHz) * kWorldRateHz, -1105.0, 0.01);
  // The mean of two neighbours is half a frame late at every frequency.
  for (std::size_t i = 1; i < sound.size(); ++i) later[i] = 0.5F * (sound[i] + sound[i - 1]);
  EXPECT_NEAR(mean_delay_s(sound, later, kWorldRateHz) * kWorldRateHz, 0.5, 0.01);
  EXPECT_EQ(mean_delay_s(std::vector<float>(9999), std::vector<float>(9999), 48000.0), 0.0);
}

}  // namespace
}  // namespace kilter::simulator
