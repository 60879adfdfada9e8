#include "quantiser.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdint>
#include <limits>
#include <numbers>
#include <random>
#include <vector>

namespace kilter::media {
namespace {

constexpr std::uint64_t kSeed = 20240229;
constexpr float kNan = std::numeric_limits<float>::quiet_NaN();
constexpr float kInfinity = std::numeric_limits<float>::infinity();

using Steps = std::vector<std::int32_t>;

Steps dithered(const std::vector<float>& samples, int bits, std::uint64_t seed,
               std::uint64_t first = 0) {
  Steps steps(samples.size());
  quantise_dithered(samples, bits, seed, first, steps.data());
  return steps;
}

/// One sample at a time, in the words of the library.
std::int32_t obvious_step(float sample, int bits, std::int64_t& clipped) {
  if (std::isnan(sample)) return 0;
  const double scale = std::ldexp(1.0, bits - 1);
  const double rounded = std::nearbyint(static_cast<double>(sample) * scale);
  const double kept = std::clamp(rounded, -scale, scale - 1.0);
  if (sample > 1.0F || rounded < -scale) ++clipped;  // +1 is full scale, though it has no step
  return static_cast<std::int32_t>(kept);
}

TEST(Quantise, AgreesWithRoundingOneSampleAtATime) {
  std::mt19937 random(7);
  std::uniform_real_distribution<float> anywhere(-1.5F, 1.5F);
  for (const int bits : {16, 24}) {
    const auto scale = static_cast<float>(1 << (bits - 1));
    std::vector<float> samples{0.0F, -0.0F, kNan, kInfinity, -kInfinity, 1e-42F, 3e38F, -3e38F};
    for (const float edge : {-1.0F, 1.0F, 0.0F, 0.25F})  // and ties, and what lies beside them
      for (int halves = -5; halves <= 5; ++halves) {
        const float at = edge + 0.5F * static_cast<float>(halves) / scale;
        samples.insert(samples.end(), {at, std::nextafter(at, 2.0F), std::nextafter(at, -2.0F)});
      }
    for (int i = 0; i < 20000; ++i) samples.push_back(anywhere(random));
    Steps steps(samples.size());
    const std::int64_t clipped = quantise(samples, bits, steps.data());
    std::int64_t expected_clipped = 0;
    for (std::size_t i = 0; i < samples.size(); ++i)
      ASSERT_EQ(steps[i], obvious_step(samples[i], bits, expected_clipped)) << samples[i];
    EXPECT_EQ(clipped, expected_clipped) << bits;
  }
}

class SteadyInput : public testing::TestWithParam<double> {};

// With triangular dither the error has the moments of three uniform ones of a step's width: mean 0,
// variance 3/12. So the mean of n errors has a standard deviation of 0.5 / sqrt(n). Errors
// reach 1.5 at most, so the fourth moment is below 1.5^2 / 4, and the mean of n squares deviates by
// less than 0.75 / sqrt(n). Five deviations each: a chance of one in a million, were the seed not
// fixed.
TEST_P(SteadyInput, HasAnErrorWithoutMeanAndOfOneVariance) {
  constexpr int kCount = 1 << 18;
  const double in_steps = GetParam();
  const std::vector<float> samples(kCount, static_cast<float>(in_steps / 32768.0));
  double sum = 0.0;
  double squares = 0.0;
  for (const std::int32_t step : dithered(samples, 16, kSeed)) {
    const double error = step - static_cast<double>(samples.front()) * 32768.0;
    ASSERT_LE(std::abs(error), 1.5);
    sum += error;
    squares += error * error;
  }
  const double root = std::sqrt(static_cast<double>(kCount));
  EXPECT_NEAR(sum / kCount, 0.0, 5.0 * 0.5 / root);
  EXPECT_NEAR(squares / kCount, 0.25, 5.0 * 0.75 / root);
}

INSTANTIATE_TEST_SUITE_P(Fractions, SteadyInput,
                         testing::Values(0.001, 0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 0.9, 1.0, -0.3,
                                         1000.5, -20000.25),
                         [](const auto& each) { return "Number" + std::to_string(each.index); });

constexpr std::size_t kSineFrames = 1 << 16;
constexpr std::size_t kSineCycles = 997;  // a whole number, so that no window is needed

std::vector<float> sine_of(double amplitude_steps) {
  std::vector<float> samples(kSineFrames);
  for (std::size_t i = 0; i < kSineFrames; ++i)
    samples[i] = static_cast<float>(
        amplitude_steps / 32768.0 *
        std::sin(2.0 * std::numbers::pi * static_cast<double>(kSineCycles * i % kSineFrames) /
                 static_cast<double>(kSineFrames)));
  return samples;
}

/// Of the sine with that many cycles in all of `steps`.
double amplitude_at(const Steps& steps, std::size_t cycles) {
  std::complex<double> sum;
  for (std::size_t i = 0; i < steps.size(); ++i)
    sum += static_cast<double>(steps[i]) *
           std::polar(1.0, 2.0 * std::numbers::pi * static_cast<double>(cycles * i % steps.size()) /
                               static_cast<double>(steps.size()));
  return 2.0 * std::abs(sum) / static_cast<double>(steps.size());
}

// The dithered error is white with variance 1/4: the square of its amplitude at one frequency is
// exponentially distributed with mean 1/n. Twenty-five times that is exceeded once in 7e10.
const double kNoiseBound = 5.0 / std::sqrt(static_cast<double>(kSineFrames));

TEST(Dither, KeepsASineOfMinus110DecibelsThatPlainRoundingLoses) {
  const double amplitude = 32768.0 * std::pow(10.0, -110.0 / 20.0);  // a tenth of a step
  const auto samples = sine_of(amplitude);
  Steps plain(samples.size());
  quantise(samples, 16, plain.data());
  EXPECT_EQ(plain, Steps(samples.size(), 0));
  const Steps steps = dithered(samples, 16, kSeed);
  EXPECT_NEAR(amplitude_at(steps, kSineCycles), amplitude, kNoiseBound);
  for (std::size_t harmonic = 2; harmonic <= 20; ++harmonic)
    EXPECT_LT(amplitude_at(steps, harmonic * kSineCycles), kNoiseBound) << harmonic;
}

TEST(Dither, LeavesNoHarmonicsWherePlainRoundingDoes) {
  const auto samples = sine_of(0.6);
  Steps plain(samples.size());
  quantise(samples, 16, plain.data());
  EXPECT_GT(amplitude_at(plain, 3 * kSineCycles), 10.0 * kNoiseBound);
  const Steps steps = dithered(samples, 16, kSeed);
  EXPECT_NEAR(amplitude_at(steps, kSineCycles), 0.6, kNoiseBound);
  for (std::size_t harmonic = 2; harmonic <= 20; ++harmonic)
    EXPECT_LT(amplitude_at(steps, harmonic * kSineCycles), kNoiseBound) << harmonic;
}

/// Correlation of the errors of two dithered versions of 0.3 steps, `lag` samples apart.
double correlation(const Steps& one, const Steps& other, std::size_t lag) {
  double sum = 0.0;
  const std::size_t count = one.size() - lag;
  for (std::size_t i = 0; i < count; ++i) sum += (one[i] - 0.3) * (other[i + lag] - 0.3);
  return sum / (0.25 * static_cast<double>(count));
}

// Products of independent errors have variance 1/16, so n of them correlate by 1 / sqrt(n).
TEST(Dither, IsUncorrelatedBetweenSeedsAndBetweenSamples) {
  const std::vector<float> samples(1 << 17, 0.3F / 32768.0F);
  const double bound = 5.0 / std::sqrt(static_cast<double>(samples.size() - 64));
  const Steps steps = dithered(samples, 16, 0);
  EXPECT_NEAR(correlation(steps, steps, 0), 1.0, 0.05);
  for (const std::uint64_t seed :
       {std::uint64_t{1}, std::uint64_t{2}, ~std::uint64_t{0}, std::uint64_t{0x9E3779B97F4A7C15}})
    for (const std::size_t lag : {0U, 1U, 2U, 3U})
      EXPECT_LT(std::abs(correlation(steps, dithered(samples, 16, seed), lag)), bound) << seed;
  for (const std::size_t lag : {1U, 2U, 3U, 4U, 6U, 8U, 64U})
    EXPECT_LT(std::abs(correlation(steps, steps, lag)), bound) << lag;
}

TEST(Dither, LeavesDigitalSilenceAlone) {
  std::vector<float> samples(3000, 0.0F);
  for (std::size_t i = 0; i < samples.size(); i += 3) {
    samples[i] = -0.0F;
    samples[i + 1] = 1e-9F;
  }
  const Steps steps = dithered(samples, 24, kSeed);
  int others = 0;
  for (std::size_t i = 0; i < steps.size(); ++i)
    if (i % 3 == 1)
      others += steps[i] != 0;
    else
      ASSERT_EQ(steps[i], 0) << i;
  EXPECT_GT(others, 100);  // of a thousand, a quarter
}

TEST(Dither, SaturatesAtFullScaleAndCountsOnlyWhatLayBeyondBefore) {
  constexpr std::int32_t kTop = 32767;
  constexpr std::int32_t kBottom = -32768;
  const std::vector<float> top(5000, 32767.0F / 32768.0F);
  Steps steps(top.size());
  EXPECT_EQ(quantise_dithered(top, 16, kSeed, 0, steps.data()), 0);
  EXPECT_EQ(*std::max_element(steps.begin(), steps.end()), kTop);
  EXPECT_GE(*std::min_element(steps.begin(), steps.end()), kTop - 1);
  const std::vector<float> bottom(5000, -1.0F);
  EXPECT_EQ(quantise_dithered(bottom, 16, kSeed, 0, steps.data()), 0);
  EXPECT_EQ(*std::min_element(steps.begin(), steps.end()), kBottom);
  EXPECT_LE(*std::max_element(steps.begin(), steps.end()), kBottom + 1);
  const std::vector<float> beyond{1.01F, -1.1F, kInfinity, -kInfinity, kNan, 3e38F};
  EXPECT_EQ(quantise_dithered(beyond, 16, kSeed, 0, steps.data()), 5);
  EXPECT_EQ(Steps(steps.begin() + 1, steps.begin() + 6), (Steps{kBottom, kTop, kBottom, 0, kTop}));
  const std::vector<float> full_scale{1.0F, -1.0F};
  EXPECT_EQ(quantise_dithered(full_scale, 16, kSeed, 0, steps.data()), 0);
}

TEST(Dither, DependsOnTheSamplesPlaceAndNotOnTheBlock) {
  std::vector<float> samples(5000);
  std::mt19937 random(3);
  std::uniform_real_distribution<float> anywhere(-0.9F, 0.9F);
  for (float& sample : samples) sample = anywhere(random);
  const Steps whole = dithered(samples, 24, kSeed);
  for (const std::size_t at : {1U, 511U, 512U, 513U, 4999U}) {
    const Steps rest =
        dithered({samples.begin() + static_cast<std::ptrdiff_t>(at), samples.end()}, 24, kSeed, at);
    EXPECT_TRUE(std::equal(rest.begin(), rest.end(), whole.end() - std::ssize(rest))) << at;
  }
}

// Every processor and compiler shall find these.
TEST(Dither, IsTheSameNoiseEverywhere) {
  const std::vector<float> samples(24, 0.3F / 32768.0F);
  EXPECT_EQ(dithered(samples, 16, 1),
            (Steps{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 1, 0, 0, 0, 1, 1, 1, 0, 0, 0}));
}

}  // namespace
}  // namespace kilter::media
