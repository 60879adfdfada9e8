#include "fir_kernels.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <limits>
#include <memory>
#include <span>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include "fused.h"
#include "interpolator.h"
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

/// 2^-64 of a frame to a millionth of one.
constexpr std::uint64_t kMillionth = 18446744073710;

struct Stepping {
  const char* name;
  FramePosition step;
  std::uint64_t fraction;
};

void PrintTo(const Stepping& row, std::ostream* out) { *out << row.name; }

constexpr std::size_t kFrames = 3000;

/// What the loops are given for kFrames outputs, and one way to have them all at once.
template <typename Filter>
class Job {
 public:
  Job(Filter filter, const Stepping& stepping)
      : filter_(std::move(filter)),
        step_(stepping.step),
        fraction_(stepping.fraction),
        input_(noise(static_cast<std::size_t>(after_steps({0, fraction_}, step_, kFrames).frame +
                                              filter_.taps() + kReadableBeyond))) {}

  Samples run(Interpolate<Filter>& interpolate_so, std::size_t block = kFrames) const {
    Samples out(kFrames);
    FramePosition at{0, fraction_};
    for (std::size_t n = 0; n < kFrames; n += block) {
      const std::size_t count = std::min(block, kFrames - n);
      interpolate_so(filter_, input_.data(), at, step_, std::span(out).subspan(n, count));
      at = after_steps(at, step_, static_cast<std::int64_t>(count));
    }
    return out;
  }

  /// Every output by itself, in double precision, by the filter's weights as they stand.
  template <typename ValueAt>
  std::vector<double> run_slowly(const ValueAt& value_at) const {
    std::vector<double> out;
    FramePosition at{0, fraction_};
    for (std::size_t n = 0; n < kFrames; ++n) {
      out.push_back(value_at(filter_, input_.data() + at.frame, at.fraction));
      at = after_steps(at, step_, 1);
    }
    return out;
  }

 private:
  Filter filter_;
  FramePosition step_;
  std::uint64_t fraction_;
  Samples input_;
};

/// In which cell a fraction lies, and where, in cells from its middle.
struct InCell {
  std::uint64_t cell;
  double offset;
};

InCell in_cell(std::uint64_t fraction, int cell_bits) {
  return {fraction >> (64 - cell_bits),
          std::ldexp(static_cast<double>(fraction << cell_bits), -64) - 0.5};
}

double slow_value(const SincTable& table, const float* input, std::uint64_t fraction) {
  const auto [cell, offset] = in_cell(fraction, table.cell_bits());
  const float* const row = table.row(cell);
  const std::int64_t unbent = (table.taps() - table.bent_taps()) / 2;
  double sum = 0.0;
  for (std::int64_t tap = 0; tap < table.taps(); ++tap) {
    double weight = row[tap] + offset * row[table.taps() + tap];
    if (tap >= unbent && tap < table.taps() - unbent)
      weight += offset * offset * row[2 * table.taps() + tap - unbent];
    sum += weight * input[tap];
  }
  return sum;
}

double slow_value(const DoubledSinc& sinc, const float* input, std::uint64_t fraction) {
  // Places on the grid of frames and middles: frame n at 2 n.
  const auto at_grid = [&](std::int64_t place) {
    if (place % 2 == 0) return static_cast<double>(input[place / 2]);
    const std::int64_t before = (place - 1) / 2;
    const std::span<const float> weights = sinc.middle_weights();
    double sum = 0.0;
    for (std::int64_t tap = 0; tap < std::ssize(weights); ++tap)
      sum += static_cast<double>(weights[static_cast<std::size_t>(tap)]) *
             input[before - (std::ssize(weights) / 2 - 1) + tap];
    return sum;
  };
  const std::int64_t half = fraction >> 63U;
  const auto [cell, offset] = in_cell(fraction, DoubledSinc::kCellBits);
  const std::int64_t first = 2 * (sinc.half() - 1) + half - (sinc.fine_taps() / 2 - 1);
  const std::int64_t each = sinc.fine_taps() / 2;
  const float* const row = sinc.rows() + static_cast<std::int64_t>(cell) * 2 * sinc.fine_taps();
  double sum = 0.0;
  for (std::int64_t tap = 0; tap < sinc.fine_taps(); ++tap) {
    const bool on_middle = (first + tap) % 2 != 0;
    const std::int64_t at = tap / 2 + (on_middle ? each : 0);
    sum += (row[at] + offset * row[2 * each + at]) * at_grid(first + tap);
  }
  return sum;
}

template <typename Filter>
void expect_same_bits_plain_and_for_the_processor(const Job<Filter>& job) {
  EXPECT_EQ(job.run(interpolate_plainly), job.run(interpolate));
}

template <typename Filter>
void expect_same_bits_one_by_one_and_together(const Job<Filter>& job) {
  const Samples together = job.run(interpolate);
  for (const std::size_t block : {1U, 2U, 3U, 9U, 17U, 25U, 1000U})
    ASSERT_EQ(job.run(interpolate, block), together) << block;
}

template <typename Filter>
void expect_agreement_with_double_precision(const Job<Filter>& job) {
  const Samples fast = job.run(interpolate);
  const std::vector<double> slow =
      job.run_slowly([](const Filter& filter, const float* input, std::uint64_t fraction) {
        return slow_value(filter, input, fraction);
      });
  for (std::size_t n = 0; n < kFrames; ++n) ASSERT_NEAR(fast[n], slow[n], 5e-7) << n;
}

class DirectKernels : public testing::TestWithParam<Stepping> {
 protected:
  static Job<SincTable> job() {
    const double stretch = static_cast<double>(GetParam().step.frame) +
                           std::ldexp(static_cast<double>(GetParam().step.fraction), -64);
    return {SincTable({stretch, 5.0 / 6.0}), GetParam()};
  }
};

TEST_P(DirectKernels, GiveTheSameBitsPlainAndForTheProcessorAtHand) {
  expect_same_bits_plain_and_for_the_processor(job());
}
TEST_P(DirectKernels, GiveTheSameBitsOneByOneAndTogether) {
  expect_same_bits_one_by_one_and_together(job());
}
TEST_P(DirectKernels, AgreeWithASumInDoublePrecision) {
  expect_agreement_with_double_precision(job());
}

INSTANTIATE_TEST_SUITE_P(All, DirectKernels,
                         testing::Values(Stepping{"From48000To44100", {1, 88435 * kMillionth}, 7},
                                         Stepping{"From96000To48000", {2, 30 * kMillionth}, ~0ULL},
                                         Stepping{"From192000To16000", {12, 0}, 1}),
                         [](const auto& each) { return each.param.name; });

struct Doubling {
  const char* name;
  DoubledShape shape;
};

void PrintTo(const Doubling& row, std::ostream* out) { *out << row.name; }

class DoubledKernels : public testing::TestWithParam<std::tuple<Doubling, Stepping>> {
 protected:
  static Job<DoubledSinc> job() {
    const auto& [doubling, stepping] = GetParam();
    return {DoubledSinc(doubling.shape), stepping};
  }
};

TEST_P(DoubledKernels, GiveTheSameBitsPlainAndForTheProcessorAtHand) {
  expect_same_bits_plain_and_for_the_processor(job());
}
TEST_P(DoubledKernels, GiveTheSameBitsOneByOneAndTogether) {
  expect_same_bits_one_by_one_and_together(job());
}
TEST_P(DoubledKernels, AgreeWithASumInDoublePrecision) {
  expect_agreement_with_double_precision(job());
}

INSTANTIATE_TEST_SUITE_P(
    All, DoubledKernels,
    testing::Combine(
        testing::Values(Doubling{"SixteenFineTaps", {5.0 / 6.0, 5.0 / 6.0}},
                        Doubling{"ThirtyTwoFineTaps", {20.0 / 22.05, 24.1 / 22.05}}),
        testing::Values(Stepping{"HalfAFrame", {1, 0}, std::uint64_t{1} << 63U},
                        Stepping{"JustBelowHalfAFrame", {1, 0}, (std::uint64_t{1} << 63U) - 1},
                        Stepping{"TwentyPpm", {1, 20 * kMillionth}, 0},
                        Stepping{"MinusTwentyPpm", {0, 0 - 20 * kMillionth}, 12345},
                        Stepping{"AHundredPpm", {1, 100 * kMillionth}, ~0ULL},
                        Stepping{"MinusAThousandPpm", {0, 0 - 1000 * kMillionth}, 0},
                        Stepping{"From44100To48000", {0, 918750 * kMillionth}, 0},
                        Stepping{"From16000To192000", {0, 83333 * kMillionth}, 99})),
    [](const auto& each) {
      return std::string(std::get<0>(each.param).name) + std::get<1>(each.param).name;
    });

TEST(AddProductFused, RoundsOnceAsTheStandardLibraryDoes) {
  std::uint64_t state = 99;
  const auto next = [&] {
    state = state * 6364136223846793005U + 1442695040888963407U;
    return static_cast<std::uint32_t>(state >> 32U);
  };
  // Of any size: sums that cancel, vanish beside the product, or fall between two floats.
  const auto number = [&] {
    const float mantissa = 1.0F + static_cast<float>(next() >> 9U) * 0x1p-23F;
    return std::ldexp(next() % 2 == 0 ? mantissa : -mantissa, static_cast<int>(next() % 61U) - 30);
  };
  for (int round = 0; round < 100000; ++round) {
    Float8 a{}, b{}, sum{}, before{};
    for (int lane = 0; lane < 8; ++lane) {
      a[lane] = number();
      b[lane] = number();
      before[lane] = number();
      // Now and then the product's own rounding, which leaves its lost part alone.
      if (next() % 4 == 0) before[lane] = -(a[lane] * b[lane]);
      // Or half a step beside a float, the hardest to round.
      if (next() % 4 == 0) {
        b[lane] = std::ldexp(1.0F, static_cast<int>(next() % 50U) - 25);
        before[lane] = std::ldexp(a[lane] * b[lane], -24 + static_cast<int>(next() % 3U));
      }
    }
    sum = before;
    add_product_fused(a, b, sum);
    for (int lane = 0; lane < 8; ++lane) {
      const float expected = std::fma(a[lane], b[lane], before[lane]);
      ASSERT_EQ(std::bit_cast<std::uint32_t>(static_cast<float>(sum[lane])),
                std::bit_cast<std::uint32_t>(expected))
          << a[lane] << " * " << b[lane] << " + " << before[lane];
    }
  }
}

TEST(AddProductFused, LeavesWhatIsNoNumberSo) {
  const float infinite = std::numeric_limits<float>::infinity();
  const Float8 a = {infinite, 1.0F, infinite, 0.0F, -infinite, 3e38F, 1.0F, std::nanf("")};
  const Float8 b = {1.0F, 1.0F, 0.0F, 5.0F, 1.0F, 3e38F, 2.0F, 1.0F};
  Float8 sum = {1.0F, infinite, 1.0F, 0.0F, 1.0F, 0.0F, std::nanf(""), 1.0F};
  add_product_fused(a, b, sum);
  EXPECT_EQ(sum[0], infinite);
  EXPECT_EQ(sum[1], infinite);
  EXPECT_TRUE(std::isnan(sum[2]));
  EXPECT_EQ(sum[3], 0.0F);
  EXPECT_EQ(sum[4], -infinite);
  EXPECT_EQ(sum[5], infinite);
  EXPECT_TRUE(std::isnan(sum[6]));
  EXPECT_TRUE(std::isnan(sum[7]));
}

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

TEST(Interpolator, IsSharedByAllThatHaveTheSameRates) {
  std::array<std::shared_ptr<const Interpolator>, 8> tables;
  parallel_for(static_cast<int>(tables.size()), 4, [&](int i) {
    const double drift = 1.0 + 1e-5 * i;  // of clocks: no matter
    tables[static_cast<std::size_t>(i)] =
        Interpolator::shared(interpolator_shape({96000}, {48000}, 2.0 * drift));
  });
  for (const auto& table : tables) EXPECT_EQ(table, tables[0]);
  EXPECT_NE(Interpolator::shared(interpolator_shape({48000}, {48000}, 1.0)), tables[0]);
  const std::weak_ptr<const Interpolator> left = tables[0];
  tables.fill(nullptr);
  EXPECT_TRUE(left.expired());
}

TEST(Interpolator, FollowsSoundThatIsPressedTogether) {
  const auto stretch = [](double in_hz, double out_hz, double frames_per_out) {
    return interpolator_shape({in_hz}, {out_hz}, frames_per_out).stretch;
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
