#include "kilter/signal/hum_meter.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>
#include <vector>

namespace kilter {
namespace {

constexpr double kRateHz = 48000.0;
constexpr double kLength_s = 20.0;

std::vector<float> noise(double rms, unsigned seed) {
  std::mt19937 random(seed);
  std::vector<float> samples;
  for (std::size_t i = 0; i < static_cast<std::size_t>(kRateHz * kLength_s); ++i)
    samples.push_back(static_cast<float>(rms * std::sqrt(12.0) *
                                         (static_cast<double>(random()) / 4294967296.0 - 0.5)));
  return samples;
}

/// A voice of steady harmonics of `pitch_hz`, half a second on and half a second off.
void add_voice(double pitch_hz, double amplitude, std::vector<float>& samples) {
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const double at_s = static_cast<double>(i) / kRateHz;
    if (at_s - std::floor(at_s) > 0.5) continue;
    for (int harmonic = 1; harmonic <= 8; ++harmonic)
      samples[i] += static_cast<float>(
          amplitude * std::sin(2.0 * std::numbers::pi * pitch_hz * harmonic * at_s) / harmonic);
  }
}

void add_hum(double hz, double amplitude, std::vector<float>& samples) {
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const double angle = 2.0 * std::numbers::pi * hz * static_cast<double>(i) / kRateHz;
    samples[i] += static_cast<float>(amplitude * (std::sin(angle) + std::sin(3.0 * angle) / 3.0));
  }
}

std::optional<Hum> hum_in(const std::vector<float>& samples, std::size_t block = 4096) {
  HumMeter meter(SampleRate{kRateHz});
  for (std::size_t at = 0; at < samples.size(); at += block)
    meter.process(std::span(samples).subspan(at, std::min(block, samples.size() - at)));
  return meter.hum();
}

TEST(HumMeter, TellsWhichMainsHumAndHowLoudTheVoiceIsWithoutIt) {
  for (const double hz : {50.0, 60.0}) {
    std::vector<float> samples = noise(1e-3, 1);
    add_voice(137.0, 0.1, samples);
    add_hum(hz, 0.3, samples);
    const auto hum = hum_in(samples);
    ASSERT_TRUE(hum);
    EXPECT_EQ(hum->hz, hz);
    EXPECT_NEAR(hum->dbfs, 20.0 * std::log10(0.3) - 3.01, 0.2);
    EXPECT_NEAR(hum->floor_dbfs, -60.0, 0.5);
    EXPECT_GT(hum->loudest_dbfs, hum->floor_dbfs + 30.0);
  }
}

TEST(HumMeter, HearsNoneInVoicesHoweverLow) {
  for (double pitch_hz = 45.0; pitch_hz < 130.0; pitch_hz += 2.5) {
    std::vector<float> samples = noise(1e-4, 2);
    std::vector<float> voice(samples.size(), 0.0F);
    add_voice(pitch_hz, 0.1, voice);
    // He speaks a third of the time.
    for (std::size_t i = 0; i < samples.size(); ++i)
      if ((i / (4 * 48000)) % 3 == 0) samples[i] += voice[i];
    EXPECT_FALSE(hum_in(samples)) << pitch_hz;
  }
}

TEST(HumMeter, HearsNoneInRumbleNorWhereItIsFaint) {
  std::vector<float> rumble = noise(0.3, 3);
  for (std::size_t i = 1; i < rumble.size(); ++i)
    rumble[i] = 0.98F * rumble[i - 1] + 0.02F * rumble[i];
  EXPECT_FALSE(hum_in(rumble));
  std::vector<float> faint = noise(1e-4, 4);
  add_voice(110.0, 0.3, faint);
  add_hum(50.0, 0.003, faint);
  EXPECT_FALSE(hum_in(faint));
}

TEST(HumMeter, SaysTheSameForBlocksOfAnySize) {
  std::vector<float> samples = noise(1e-3, 5);
  add_hum(50.0, 0.1, samples);
  const auto once = hum_in(samples, samples.size());
  const auto often = hum_in(samples, 777);
  ASSERT_TRUE(once && often);
  EXPECT_EQ(once->dbfs, often->dbfs);
  EXPECT_EQ(once->loudest_dbfs, often->loudest_dbfs);
}

}  // namespace
}  // namespace kilter
