#include "kilter/signal/rate_reducer.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "kilter/signal/analysis_signal.h"
#include "reducer_runs.h"

namespace kilter {
namespace {

std::vector<float> sine(double hz, double rate_hz, int frames) {
  std::vector<float> x(static_cast<std::size_t>(frames));
  for (int i = 0; i < frames; ++i)
    x[static_cast<std::size_t>(i)] =
        static_cast<float>(std::sin(2.0 * std::numbers::pi * hz * i / rate_hz));
  return x;
}

std::vector<float> reduce(const std::vector<float>& x, double rate_hz, std::size_t block) {
  RateReducer reducer(SampleRate{rate_hz});
  std::vector<float> out;
  for (std::size_t i = 0; i < x.size(); i += block)
    reducer.process(std::span(x).subspan(i, std::min(block, x.size() - i)), out);
  reducer.finish(out);
  return out;
}

struct RateCase {
  const char* name;
  double rate_hz;
  double tone_hz;
};

class RateReducerKeepsTime : public testing::TestWithParam<RateCase> {};

// The output is compared with the same sine sampled at 16 kHz: a shift of 0.1 us at 1 kHz would
// show as 6e-4. Ripple allowed is 0.1 dB, which is 1.2e-2; the figure below is what the design
// gives.
TEST_P(RateReducerKeepsTime, WithinATenthOfAMicrosecond) {
  const auto [name, rate_hz, tone_hz] = GetParam();
  const auto out = reduce(sine(tone_hz, rate_hz, static_cast<int>(rate_hz)), rate_hz, 1000);
  // The last frame lies at the last input frame or before it.
  ASSERT_NEAR(static_cast<double>(out.size()), 16000.0, std::max(1.0, 16000.0 / rate_hz));
  double in_phase = 0.0;
  double quadrature = 0.0;
  for (std::size_t i = 2000; i < 14000; ++i) {
    const double angle = 2.0 * std::numbers::pi * tone_hz * static_cast<double>(i) / 16000.0;
    in_phase += static_cast<double>(out[i]) * std::sin(angle);
    quadrature += static_cast<double>(out[i]) * std::cos(angle);
  }
  const double shift_s = std::atan2(quadrature, in_phase) / (2.0 * std::numbers::pi * tone_hz);
  EXPECT_NEAR(shift_s, 0.0, 1e-7);
  EXPECT_NEAR(std::hypot(in_phase, quadrature) / 6000.0, 1.0, 0.0115);
}

INSTANTIATE_TEST_SUITE_P(
    Rates, RateReducerKeepsTime,
    testing::Values(RateCase{"From48k", 48000, 1000}, RateCase{"From48kNearTheEdge", 48000, 7100},
                    RateCase{"From44k1", 44100, 1000}, RateCase{"From44k1High", 44100, 7000},
                    RateCase{"From96k", 96000, 3000}, RateCase{"From32k", 32000, 5000},
                    RateCase{"From22k05", 22050, 6000}, RateCase{"From16k", 16000, 5000},
                    RateCase{"From8k", 8000, 1500}, RateCase{"From47999", 47999, 2000},
                    RateCase{"From1k", 1000, 300}, RateCase{"From1001", 1001, 440},
                    RateCase{"From768k", 768000, 7000}, RateCase{"From767999", 767999, 7000}),
    [](const auto& each) { return each.param.name; });

class RateReducerKeepsDown : public testing::TestWithParam<RateCase> {};

// A tone above the band, which comes out as nothing: 1e-4 is 80 dB down.
TEST_P(RateReducerKeepsDown, WhatFoldsByEightyDecibels) {
  const auto [name, rate_hz, tone_hz] = GetParam();
  const auto out = reduce(sine(tone_hz, rate_hz, static_cast<int>(rate_hz) / 2), rate_hz, 4096);
  ASSERT_GT(out.size(), 7900U);
  for (std::size_t i = 500; i + 500 < out.size(); ++i) ASSERT_LT(std::abs(out[i]), 1e-4F) << i;
}

INSTANTIATE_TEST_SUITE_P(
    Rates, RateReducerKeepsDown,
    testing::Values(RateCase{"From48kTheNearest", 48000, 8800}, RateCase{"From48k9k", 48000, 9000},
                    RateCase{"From48k12k", 48000, 12345}, RateCase{"From48k16k", 48000, 15900},
                    RateCase{"From48k23k", 48000, 23000},
                    RateCase{"From44k1TheNearest", 44100, 8800}, RateCase{"From44k1", 44100, 17000},
                    RateCase{"From96k", 96000, 31000}, RateCase{"From47999TheNearest", 47999, 8800},
                    RateCase{"From47999", 47999, 16500}, RateCase{"From22051", 22051, 9500},
                    RateCase{"From768kTheNearest", 768000, 8800},
                    RateCase{"From768k", 768000, 300000},
                    RateCase{"From767999TheNearest", 767999, 8800},
                    RateCase{"From767999", 767999, 300000}),
    [](const auto& each) { return each.param.name; });

class RateReducerKeepsImagesDown : public testing::TestWithParam<RateCase> {};

// From a lower rate, what is beside the tone itself.
TEST_P(RateReducerKeepsImagesDown, ByEightyDecibels) {
  const auto [name, rate_hz, tone_hz] = GetParam();
  const auto out = reduce(sine(tone_hz, rate_hz, static_cast<int>(rate_hz)), rate_hz, 4096);
  double in_phase = 0.0;
  double quadrature = 0.0;
  const auto angle = [tone = tone_hz](std::size_t i) {
    return 2.0 * std::numbers::pi * tone * static_cast<double>(i) / 16000.0;
  };
  // Whole periods of every tone below, so that an image adds nothing to the tone's figures.
  for (std::size_t i = 0; i < 8000; ++i) {
    in_phase += static_cast<double>(out[i + 4000]) * std::sin(angle(i + 4000)) / 4000.0;
    quadrature += static_cast<double>(out[i + 4000]) * std::cos(angle(i + 4000)) / 4000.0;
  }
  for (std::size_t i = 4000; i < 12000; ++i)
    ASSERT_NEAR(out[i], in_phase * std::sin(angle(i)) + quadrature * std::cos(angle(i)), 1e-4) << i;
}

INSTANTIATE_TEST_SUITE_P(
    Rates, RateReducerKeepsImagesDown,
    testing::Values(RateCase{"From8k", 8000, 3600}, RateCase{"From8kLow", 8000, 500},
                    RateCase{"From11025", 11025, 4900}, RateCase{"From8001", 8001, 3600},
                    RateCase{"From1k", 1000, 450}, RateCase{"From1001", 1001, 450}),
    [](const auto& each) { return each.param.name; });

TEST(RateReducer, GivesTheSameBitsForAnyBlockSize) {
  const auto x = sine(440.0, 44100.0, 30000);
  const auto whole = reduce(x, 44100.0, 30000);
  EXPECT_EQ(whole, reduce(x, 44100.0, 1));
  EXPECT_EQ(whole, reduce(x, 44100.0, 777));
}

TEST(ReducerFilter, GivesABatchAsItGivesEachOutputAlone) {
  for (const double rate_hz : {32000.0, 48000.0, 96000.0}) {
    const ReducerFilter filter(SampleRate{rate_hz});
    ASSERT_TRUE(filter.is_decimator());
    const auto down = static_cast<std::size_t>(filter.down());
    const auto frames = static_cast<std::size_t>(filter.batch_frames());
    const auto x = sine(1234.0, rate_hz, static_cast<int>(frames * down));
    std::vector<std::vector<float>> phases(down, std::vector<float>(frames));
    std::vector<const float*> at;
    for (std::size_t p = 0; p < down; ++p) {
      for (std::size_t i = 0; i < frames; ++i) phases[p][i] = x[i * down + p];
      at.push_back(phases[p].data());
    }
    std::vector<float> batch(ReducerFilter::kBatch);
    filter.value_batch(at, batch.data());
    for (std::size_t i = 0; i < batch.size(); ++i)
      EXPECT_NEAR(batch[i], filter.value_at(x.data() + i * down, {0, 0}), 1e-6F) << rate_hz;
  }
}

TEST(ReducerRuns, GiveTheSameBitsPlainAndForTheProcessorAtHand) {
  std::mt19937 draw(1);
  std::uniform_real_distribution<float> sample(-1.0F, 1.0F);
  std::vector<ReducerRun> runs;
  constexpr std::size_t kMostTaps = 6;
  for (std::size_t taps = 1; taps <= kMostTaps; ++taps)
    for (std::size_t phase = 0; phase < 2; ++phase) {
      ReducerRun run{phase, static_cast<std::int64_t>(3 * taps), {}};
      for (std::size_t tap = 0; tap < taps; ++tap) run.weights.push_back(sample(draw));
      runs.push_back(run);
    }
  std::vector<std::vector<float>> phases(2);
  std::vector<const float*> at;
  for (auto& phase : phases) {
    // No more than the last tap of the last output reaches.
    for (std::size_t i = 0; i < ReducerFilter::kBatch + 3 * kMostTaps + 8 * (kMostTaps - 1); ++i)
      phase.push_back(sample(draw));
    at.push_back(phase.data());
  }
  std::vector<float> plain(ReducerFilter::kBatch), here(ReducerFilter::kBatch);
  add_up_runs_plainly(runs, at, plain.data());
  add_up_runs(runs, at, here.data());
  EXPECT_EQ(plain, here);
  for (std::size_t i = 0; i < plain.size(); ++i) {
    double sum = 0.0;
    for (const ReducerRun& run : runs)
      for (std::size_t tap = 0; tap < run.weights.size(); ++tap)
        sum +=
            static_cast<double>(run.weights[tap]) *
            static_cast<double>(at[run.phase][i + static_cast<std::size_t>(run.shift) + 8 * tap]);
    EXPECT_NEAR(plain[i], sum, 1e-5) << i;
  }
}

TEST(ReducerFilter, GivesOutputsThatLieAlikeAsItGivesEachAlone) {
  // The last one's ratio is no small one.
  for (const double rate_hz : {8000.0, 22050.0, 44100.0, 47999.0}) {
    const ReducerFilter filter(SampleRate{rate_hz});
    constexpr std::int64_t kCount = 11;  // groups and a rest
    const std::int64_t frames = 2 * filter.half() + kCount * filter.down();
    const auto x = sine(1234.0, rate_hz, static_cast<int>(frames));
    const ReducerFilter::Place place{0, filter.up() / 3};
    std::vector<float> out(static_cast<std::size_t>(kCount * filter.up()));
    filter.values_at(x.data(), place, kCount, out.data());
    for (std::int64_t i = 0; i < kCount; ++i)
      EXPECT_EQ(out[static_cast<std::size_t>(i * filter.up())],
                filter.value_at(x.data() + i * filter.down(), place))
          << rate_hz;
  }
}

TEST(RateReducer, OfNothingIsNothing) { EXPECT_TRUE(reduce({}, 48000.0, 10).empty()); }

}  // namespace
}  // namespace kilter
