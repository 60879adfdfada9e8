#include "kilter/signal/rate_corrected_signal.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace kilter {
namespace {

constexpr std::int64_t kFrames = 40000;  // nominal

/// A tone of `hz` true hertz as a file of a wrong rate holds it.
std::vector<float> tone(double hz, double ratio) {
  std::vector<float> samples;
  const double step = 2.0 * std::numbers::pi * hz / (kAnalysisRateHz * ratio);
  for (std::int64_t m = 0; m < kFrames; ++m)
    samples.push_back(static_cast<float>(std::sin(step * static_cast<double>(m))));
  return samples;
}

/// Level of what differs from `amplitude` times the tone, away from the signal's ends, where the
/// filter meets silence.
double error_db(const RateCorrectedSignal& signal, double hz, double amplitude, double ratio) {
  const auto end = static_cast<std::int64_t>(kFrames / ratio);
  const auto edge = 32 + static_cast<std::int64_t>(32.0 / ratio);
  std::vector<float> out(static_cast<std::size_t>(end - 2 * edge));
  EXPECT_TRUE(signal.read(edge, out));
  double worst = 0.0;
  for (std::int64_t i = 0; i < std::ssize(out); ++i) {
    const double expected = amplitude * std::sin(2.0 * std::numbers::pi * hz *
                                                 static_cast<double>(edge + i) / kAnalysisRateHz);
    worst =
        std::max(worst, std::abs(static_cast<double>(out[static_cast<std::size_t>(i)]) - expected));
  }
  return 20.0 * std::log10(worst + 1e-12);
}

struct ToneCase {
  const char* name;
  double ratio;
  double hz;
  double amplitude;  // expected
};
class RateCorrectedSignalTone : public testing::TestWithParam<ToneCase> {};

TEST_P(RateCorrectedSignalTone, ComesOutAtItsTrueFrequency) {
  const auto& [name, ratio, hz, amplitude] = GetParam();
  const MemorySignal nominal(tone(hz, ratio));
  const RateCorrectedSignal signal(nominal, ratio);
  // 80 dB are promised; the flat band may have the ripple that belongs to them.
  EXPECT_LT(error_db(signal, hz, amplitude, ratio), -80.0);
}

INSTANTIATE_TEST_SUITE_P(Ratios, RateCorrectedSignalTone,
                         testing::Values(ToneCase{"HeaderTooLow", 48.0 / 44.1, 1000.0, 1.0},
                                         ToneCase{"HeaderTooLowHighTone", 48.0 / 44.1, 7100.0, 1.0},
                                         ToneCase{"WhatWouldFoldIsGone", 44.1 / 32.0, 9000.0, 0.0},
                                         ToneCase{"HeaderTooHigh", 44.1 / 48.0, 440.0, 1.0},
                                         ToneCase{"HeaderTooHighHighTone", 44.1 / 48.0, 6600.0,
                                                  1.0},
                                         ToneCase{"Doubled", 2.0, 3000.0, 1.0},
                                         ToneCase{"DoubledFolds", 2.0, 9500.0, 0.0},
                                         ToneCase{"Twelvefold", 12.0, 5000.0, 1.0},
                                         ToneCase{"TwelvefoldFolds", 12.0, 30000.0, 0.0},
                                         ToneCase{"ATwelfth", 1.0 / 12.0, 500.0, 1.0},
                                         ToneCase{"PulledUp", 1.001, 5000.0, 1.0},
                                         ToneCase{"PulledDown", 1.0 / 1.001, 7000.0, 1.0}),
                         [](const auto& each) { return each.param.name; });

struct RoughCase {
  const char* name;
  double ratio;
  double hz;
};
class RoughRateCorrection : public testing::TestWithParam<RoughCase> {};

TEST_P(RoughRateCorrection, IsOneDecibelFlatAndFreeOfImagesAsFarAsFeaturesGo) {
  const auto& [name, ratio, hz] = GetParam();
  const MemorySignal nominal(tone(hz, ratio));
  const RateCorrectedSignal signal(nominal, ratio, RateCorrection::rough);
  std::vector<float> out(static_cast<std::size_t>(kFrames / ratio) - 512);
  ASSERT_TRUE(signal.read(256, out));
  double in_phase = 0.0;
  double power = 0.0;
  for (std::size_t i = 0; i < out.size(); ++i) {
    const double phase =
        2.0 * std::numbers::pi * hz * static_cast<double>(256 + i) / kAnalysisRateHz;
    in_phase += 2.0 * std::sin(phase) * static_cast<double>(out[i]);
    power += 2.0 * static_cast<double>(out[i]) * static_cast<double>(out[i]);
  }
  const auto count = static_cast<double>(out.size());
  const double gain = in_phase / count;
  EXPECT_LT(std::abs(20.0 * std::log10(gain)), 1.0);
  EXPECT_LT(power / count - gain * gain, 1e-4);
}

INSTANTIATE_TEST_SUITE_P(Ratios, RoughRateCorrection,
                         testing::Values(RoughCase{"HeaderTooLow", 48.0 / 44.1, 3500.0},
                                         RoughCase{"HeaderTooHigh", 44.1 / 48.0, 3200.0},
                                         RoughCase{"Doubled", 2.0, 3500.0},
                                         RoughCase{"Halved", 0.5, 1750.0},
                                         RoughCase{"PulledUp", 1.001, 3500.0}),
                         [](const auto& each) { return each.param.name; });

TEST(RateCorrectedSignal, ReadsTheSameFromAnywhereInPiecesOfAnySize) {
  const double ratio = 48.0 / 44.1;
  const MemorySignal nominal(tone(777.0, ratio));
  const RateCorrectedSignal signal(nominal, ratio);
  std::vector<float> whole(static_cast<std::size_t>(signal.frames()));
  ASSERT_TRUE(signal.read(0, whole));
  for (const std::int64_t size : {1, 7, 1000, 30000}) {
    for (std::int64_t first = 3; first + size <= std::ssize(whole); first += 9973) {
      std::vector<float> piece(static_cast<std::size_t>(size));
      ASSERT_TRUE(signal.read(first, piece));
      EXPECT_TRUE(std::equal(piece.begin(), piece.end(), whole.begin() + first)) << first;
    }
  }
}

TEST(RateCorrectedSignal, IsSilentOutsideTheTrackAndAsLongAsItsTrueTime) {
  const MemorySignal nominal(std::vector<float>(44100, 1.0F));
  const RateCorrectedSignal signal(nominal, 48.0 / 44.1);
  EXPECT_EQ(signal.frames(), 40516);  // the last one at nominal frame 44098.0
  std::vector<float> out(50000, 5.0F);
  ASSERT_TRUE(signal.read(-1000, out));
  EXPECT_EQ(out[999], 0.0F);
  EXPECT_NEAR(out[1000 + 20000], 1.0F, 1e-4F);
  EXPECT_EQ(out[1000 + 40516], 0.0F);
  const MemorySignal empty(std::vector<float>{});
  EXPECT_EQ(RateCorrectedSignal(empty, 0.5).frames(), 0);
}

TEST(RateCorrectedSignal, PassesOnThatTheTrackCannotBeRead) {
  struct Broken final : AnalysisSignal {
    std::int64_t frames() const override { return 1000; }
    Result<void> read(std::int64_t, std::span<float>) const override {
      return Error{ErrorKind::unreadable, {}, "gone", ""};
    }
  };
  const Broken broken;
  std::vector<float> out(10);
  EXPECT_FALSE(RateCorrectedSignal(broken, 2.0).read(0, out));
}

}  // namespace
}  // namespace kilter
