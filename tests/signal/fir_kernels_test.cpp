#include "fir_kernels.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "kilter/base/parallel.h"

namespace kilter {
namespace {

using Samples = std::vector<float>;

Samples noise(std::size_t frames) {
  Samples samples(frames);
  std::uint32_t state = 777;
  for (float& sample : samples) {
    state = state * 1664525U + 1013904223U;
    sample = static_cast<float>(state >> 8U) / 0x1p23F - 1.0F;
  }
  return samples;
}

struct Stepping {
  const char* name;
  double in_hz;
  double out_hz;
  FramePosition step;
  std::uint64_t fraction;
};

void PrintTo(const Stepping& row, std::ostream* out) { *out << row.name; }

/// 2^-64 of a frame to a millionth of one.
constexpr std::uint64_t kMillionth = 18446744073710;

class Kernels : public testing::TestWithParam<Stepping> {
 protected:
  static constexpr std::size_t kFrames = 3000;
  SincTable table() const {
    const Stepping& row = GetParam();
    return SincTable(sinc_shape({row.in_hz}, {row.out_hz}, row.in_hz / row.out_hz));
  }
  Samples input(const SincTable& table) const {
    const auto frames = static_cast<std::size_t>(
        after_steps({0, GetParam().fraction}, GetParam().step, kFrames).frame + table.taps() +
        kReadableBeyond);
    return noise(frames);
  }
};

TEST_P(Kernels, GiveTheSameBitsPlainAndForTheProcessorAtHand) {
  const SincTable weights = table();
  const Samples from = input(weights);
  Samples plain(kFrames);
  Samples best(kFrames);
  interpolate_plainly(weights, from.data(), {0, GetParam().fraction}, GetParam().step, plain);
  interpolate(weights, from.data(), {0, GetParam().fraction}, GetParam().step, best);
  EXPECT_EQ(plain, best);
}

TEST_P(Kernels, GiveTheSameBitsOneByOneAndTogether) {
  const SincTable weights = table();
  const Samples from = input(weights);
  Samples together(kFrames);
  interpolate(weights, from.data(), {0, GetParam().fraction}, GetParam().step, together);
  for (const std::size_t block : {1U, 2U, 3U, 9U, 17U, 25U}) {
    Samples apart(kFrames);
    FramePosition at{0, GetParam().fraction};
    for (std::size_t n = 0; n < kFrames; n += block) {
      const std::size_t count = std::min(block, kFrames - n);
      interpolate(weights, from.data(), at, GetParam().step, std::span(apart).subspan(n, count));
      at = after_steps(at, GetParam().step, static_cast<std::int64_t>(count));
    }
    ASSERT_EQ(apart, together) << block;
  }
}

TEST_P(Kernels, AgreeWithASumInDoublePrecision) {
  const SincTable weights = table();
  const Samples from = input(weights);
  Samples fast(kFrames);
  interpolate(weights, from.data(), {0, GetParam().fraction}, GetParam().step, fast);
  FramePosition at{0, GetParam().fraction};
  for (std::size_t n = 0; n < kFrames; ++n) {
    const double cells = std::ldexp(static_cast<double>(at.fraction), weights.cell_bits() - 64);
    const double cell = std::min(std::floor(cells), std::ldexp(1.0, weights.cell_bits()) - 1.0);
    const double offset = cells - cell - 0.5;
    const float* const row = weights.row(static_cast<std::uint64_t>(cell));
    const std::int64_t unbent = (weights.taps() - weights.bent_taps()) / 2;
    double sum = 0.0;
    for (std::int64_t tap = 0; tap < weights.taps(); ++tap) {
      double weight = row[tap] + offset * row[weights.taps() + tap];
      if (tap >= unbent && tap < weights.taps() - unbent)
        weight += offset * offset * row[2 * weights.taps() + tap - unbent];
      sum += weight * from[static_cast<std::size_t>(at.frame + tap)];
    }
    ASSERT_NEAR(fast[n], sum, 5e-7) << n;
    at = after_steps(at, GetParam().step, 1);
  }
}

INSTANTIATE_TEST_SUITE_P(
    All, Kernels,
    testing::Values(Stepping{"HalfAFrame", 48000, 48000, {1, 0}, std::uint64_t{1} << 63U},
                    Stepping{"TwentyPpm", 48000, 48000, {1, 20 * kMillionth}, 0},
                    Stepping{"MinusTwentyPpm", 48000, 48000, {0, 0 - 20 * kMillionth}, 12345},
                    Stepping{"AHundredPpm", 48000, 48000, {1, 100 * kMillionth}, ~0ULL},
                    Stepping{"MinusAThousandPpm", 48000, 48000, {0, 0 - 1000 * kMillionth}, 0},
                    Stepping{"FiftyPpmAt44100", 44100, 44100, {1, 50 * kMillionth}, 99},
                    Stepping{"From44100To48000", 44100, 48000, {0, 918750 * kMillionth}, 0},
                    Stepping{"From96000To48000", 96000, 48000, {2, 30 * kMillionth}, 0},
                    Stepping{"From192000To16000", 192000, 16000, {12, 0}, 1}),
    [](const auto& each) { return each.param.name; });

TEST(FramePosition, StepsAddUpWithoutRounding) {
  const FramePosition step{3, 0xFEDCBA9876543210U};
  FramePosition one_by_one{-7, 0x8000000000000001U};
  const FramePosition at_once = after_steps(one_by_one, step, 100000);
  for (int i = 0; i < 100000; ++i) one_by_one = after_steps(one_by_one, step, 1);
  EXPECT_EQ(at_once.frame, one_by_one.frame);
  EXPECT_EQ(at_once.fraction, one_by_one.fraction);
  // One step by hand: the fractions carry into the frames.
  const FramePosition carried = after_steps({0, 0xC000000000000000U}, {1, 0x8000000000000000U}, 1);
  EXPECT_EQ(carried.frame, 2);
  EXPECT_EQ(carried.fraction, 0x4000000000000000U);
}

TEST(SincTable, IsSharedByAllThatHaveTheSameRates) {
  std::array<std::shared_ptr<const SincTable>, 8> tables;
  parallel_for(static_cast<int>(tables.size()), 4, [&](int i) {
    const double drift = 1.0 + 1e-5 * i;  // of clocks: no matter
    tables[static_cast<std::size_t>(i)] =
        SincTable::shared(sinc_shape({96000}, {48000}, 2.0 * drift));
  });
  for (const auto& table : tables) EXPECT_EQ(table, tables[0]);
  EXPECT_NE(SincTable::shared(sinc_shape({48000}, {48000}, 1.0)), tables[0]);
  const std::weak_ptr<const SincTable> left = tables[0];
  tables.fill(nullptr);
  EXPECT_TRUE(left.expired());
}

TEST(SincTable, FollowsSoundThatIsPressedTogether) {
  const auto stretch = [](double in_hz, double out_hz, double frames_per_out) {
    return sinc_shape({in_hz}, {out_hz}, frames_per_out).stretch;
  };
  EXPECT_EQ(stretch(48000, 48000, 1.002), 1.0);
  EXPECT_EQ(stretch(48000, 48000, 0.5), 1.0);
  EXPECT_EQ(stretch(44100, 48000, 0.95), 1.0);
  EXPECT_DOUBLE_EQ(stretch(48000, 44100, 48.0 / 44.1), 48.0 / 44.1);
  EXPECT_EQ(stretch(768000, 8000, 96.0), 96.0);
  for (const double pressed : {1.01, 1.5, 3.0, 100.0}) {
    EXPECT_GE(stretch(48000, 48000, pressed), pressed);
    EXPECT_LE(stretch(48000, 48000, pressed), 1.022 * pressed);
  }
  EXPECT_EQ(stretch(48000, 48000, 1e6), 128.0);
}

}  // namespace
}  // namespace kilter
