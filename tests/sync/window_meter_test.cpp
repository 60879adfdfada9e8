#include "kilter/sync/window_meter.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <numbers>

#include "simulator/random.h"

namespace kilter::sync {
namespace {

/// Noise that can be asked for at any instant: many sines, coming and going like syllables.
class Noise {
 public:
  explicit Noise(std::uint64_t seed) {
    simulator::Random random({seed});
    for (int i = 0; i < 240; ++i)
      sines_.push_back({2.0 * std::numbers::pi * (150.0 + 6900.0 * random.uniform()),
                        2.0 * std::numbers::pi * random.uniform(), 0.5 + 3.0 * random.uniform(),
                        2.0 * std::numbers::pi * random.uniform()});
  }
  double at(double t) const {
    double sum = 0.0;
    for (const Sine& s : sines_)
      sum += std::sin(s.omega * t + s.phase) *
             (1.0 + std::sin(2.0 * std::numbers::pi * s.beat_hz * t + s.beat_phase));
    return 0.01 * sum;
  }

 private:
  struct Sine {
    double omega, phase, beat_hz, beat_phase;
  };
  std::vector<Sine> sines_;
};

constexpr double kLength_s = 4.0;

MemorySignal record(const std::function<double(double)>& sound) {
  std::vector<float> samples;
  for (int i = 0; i < static_cast<int>(kLength_s * kAnalysisRateHz); ++i)
    samples.push_back(static_cast<float>(sound(static_cast<double>(i) / kAnalysisRateHz)));
  return MemorySignal(std::move(samples));
}

const TimeMap kHere = *TimeMap::line(0.0, 0.0, kLength_s, 0.0);

std::vector<Reading> measure(const AnalysisSignal& mix, const std::vector<MappedTrack>& tracks,
                             bool joint) {
  WindowMeter meter({.search_s = 0.02, .joint = joint});
  auto readings = meter.measure(mix, tracks, 0.0, kLength_s);
  EXPECT_TRUE(readings);
  return *readings;
}

struct DelayCase {
  const char* name;
  double delay_s;
  // Frames end at other places of the two signals: the further apart, the more is lost.
  double tolerance_s;
};
class WindowMeterReads : public testing::TestWithParam<DelayCase> {};

TEST_P(WindowMeterReads, ADelayWithinAFewPartsInAThousandOfIt) {
  const double delay_s = GetParam().delay_s;
  const Noise voice(1);
  const auto track = record([&](double t) { return voice.at(t); });
  const auto mix = record([&](double t) { return 0.5 * voice.at(t - delay_s); });
  const auto reading = measure(mix, {{&track, &kHere}}, true)[0];
  ASSERT_TRUE(reading.heard);
  // Frames end at other places of the two signals, which costs nanoseconds per millisecond of
  // delay.
  EXPECT_NEAR(reading.offset_s, delay_s, 1e-7 + 1e-3 * std::abs(delay_s));
  EXPECT_FALSE(reading.inverted);
}

INSTANTIATE_TEST_SUITE_P(Delays, WindowMeterReads,
                         testing::Values(DelayCase{"None", 0.0, 1e-7},
                                         DelayCase{"ThreeMicroseconds", 3e-6, 1e-7},
                                         DelayCase{"HalfAFrame", 31.25e-6, 2e-7},
                                         DelayCase{"EarlyByAFrameAndAThird", -83.3e-6, 3e-7},
                                         DelayCase{"FiveMilliseconds", 5.0e-3, 5e-6},
                                         DelayCase{"EarlyByEighteenMilliseconds", -18.0e-3, 20e-6}),
                         [](const auto& each) { return each.param.name; });

TEST(WindowMeter, IsNotMisledByAVoiceThatBothMicrophonesHold) {
  // Person 1 talks; microphone 2 holds person 1 five milliseconds late, and a little of person 2.
  const Noise one(1);
  const Noise two(2);
  const auto mic1 = record([&](double t) { return one.at(t) + 0.02 * two.at(t - 0.004); });
  const auto mic2 = record([&](double t) { return 0.5 * one.at(t - 0.005) + 0.05 * two.at(t); });
  const auto mix = record([&](double t) {
    return one.at(t) + 0.02 * two.at(t - 0.004) + 0.5 * one.at(t - 0.005) + 0.05 * two.at(t);
  });
  const std::vector<MappedTrack> tracks{{&mic1, &kHere}, {&mic2, &kHere}};
  const auto alone = measure(mix, tracks, false);
  EXPECT_NEAR(alone[1].offset_s, -0.005, 0.0005);  // the trap: a sharp peak at the wrong place
  const auto joint = measure(mix, tracks, true);
  ASSERT_TRUE(joint[1].heard);
  EXPECT_NEAR(joint[1].offset_s, 0.0, 1e-6);
  EXPECT_NEAR(joint[0].offset_s, 0.0, 1e-6);
}

TEST(WindowMeter, KeepsTheSignOfAnInvertedTrack) {
  const Noise voice(3);
  const auto track = record([&](double t) { return -voice.at(t); });
  const auto mix = record([&](double t) { return voice.at(t - 1e-3); });
  const auto reading = measure(mix, {{&track, &kHere}}, true)[0];
  ASSERT_TRUE(reading.heard);
  EXPECT_TRUE(reading.inverted);
  EXPECT_NEAR(reading.offset_s, 1e-3, 2e-6);
}

TEST(WindowMeter, TellsAHighPassInTheChannelFromADelay) {
  // First-order high-pass at 120 Hz, bilinear: it leads most where speech is strongest.
  const Noise voice(4);
  const auto track = record([&](double t) { return voice.at(t); });
  std::vector<float> filtered(static_cast<std::size_t>(track.frames()));
  ASSERT_TRUE(track.read(0, filtered));
  const double k = std::tan(std::numbers::pi * 120.0 / kAnalysisRateHz);
  double before_in = 0.0, before_out = 0.0;
  for (float& value : filtered) {
    const double in = static_cast<double>(value);
    before_out = ((in - before_in) + (1.0 - k) * before_out) / (1.0 + k);
    before_in = in;
    value = static_cast<float>(before_out);
  }
  const auto reading = measure(MemorySignal(filtered), {{&track, &kHere}}, true)[0];
  ASSERT_TRUE(reading.heard);
  EXPECT_NEAR(reading.offset_s, 0.0, 1e-6);  // left in, the lead would pull by several microseconds
}

TEST(WindowMeter, HearsNothingInAnotherVoiceOrInSilence) {
  const Noise voice(5);
  const Noise stranger(6);
  const auto track = record([&](double t) { return stranger.at(t); });
  const auto silence = record([](double) { return 0.0; });
  const auto mix = record([&](double t) { return voice.at(t); });
  const auto readings = measure(mix, {{&track, &kHere}, {&silence, &kHere}}, true);
  EXPECT_FALSE(readings[0].heard);
  EXPECT_FALSE(readings[1].heard);
  EXPECT_FALSE(measure(silence, {{&track, &kHere}}, true)[0].heard);
}

TEST(WindowMeter, LeavesOutATrackThatLiesElsewhere) {
  const Noise voice(7);
  const auto track = record([&](double t) { return voice.at(t); });
  const TimeMap elsewhere = *TimeMap::line(100.0, 0.0, kLength_s, 0.0);
  EXPECT_FALSE(measure(track, {{&track, &elsewhere}}, true)[0].heard);
}

}  // namespace
}  // namespace kilter::sync
