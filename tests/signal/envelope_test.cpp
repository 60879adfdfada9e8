#include "kilter/signal/envelope.h"

#include <gtest/gtest.h>

#include <algorithm>

namespace kilter {
namespace {

struct Sound {
  float peak;
  double power;
};

/// Stretch i of a recording in which every value tells its place.
Sound sound_at(int i) {
  return {static_cast<float>((i * 37) % 101) / 101.0F, static_cast<double>((i * 53) % 97) / 97.0};
}

Envelope collected(int stretches, std::size_t most_cells) {
  EnvelopeCollector collector(most_cells);
  for (int i = 0; i < stretches; ++i) collector.add(sound_at(i).peak, sound_at(i).power);
  return collector.envelope(0.05);
}

TEST(Envelope, HasACellForEachStretchWhileThereAreCells) {
  const Envelope envelope = collected(8, 8);
  ASSERT_EQ(envelope.cells.size(), 8U);
  EXPECT_EQ(envelope.cell_s, 0.05);
  for (int i = 0; i < 8; ++i) {
    EXPECT_EQ(envelope.cells[static_cast<std::size_t>(i)].peak, sound_at(i).peak);
    EXPECT_FLOAT_EQ(envelope.cells[static_cast<std::size_t>(i)].power,
                    static_cast<float>(sound_at(i).power));
  }
}

TEST(Envelope, HoldsTheHighestPeakAndTheMeanPowerOfWhatACellStandsFor) {
  for (const int stretches : {1, 9, 16, 17, 31, 64, 65, 100, 1000, 4097}) {
    const Envelope envelope = collected(stretches, 8);
    ASSERT_LE(envelope.cells.size(), 8U) << stretches;
    const int in_cell = static_cast<int>(envelope.cell_s / 0.05 + 0.5);
    ASSERT_EQ(static_cast<int>(envelope.cells.size()), (stretches + in_cell - 1) / in_cell);
    for (int cell = 0; cell < static_cast<int>(envelope.cells.size()); ++cell) {
      float peak = 0.0F;
      double power = 0.0;
      const int end = std::min(stretches, (cell + 1) * in_cell);
      for (int i = cell * in_cell; i < end; ++i) {
        peak = std::max(peak, sound_at(i).peak);
        power += sound_at(i).power;
      }
      const EnvelopeCell& found = envelope.cells[static_cast<std::size_t>(cell)];
      EXPECT_EQ(found.peak, peak) << stretches;
      // Halves of sums in single precision, one per doubling.
      EXPECT_NEAR(found.power, power / (end - cell * in_cell), 1e-5) << stretches;
    }
  }
}

TEST(Envelope, OfNothingIsEmpty) {
  EXPECT_TRUE(EnvelopeCollector().envelope(0.05).cells.empty());
  EXPECT_TRUE(joined({}).cells.empty());
}

TEST(Envelope, OfChannelsHeardTogetherHoldsTheHighestPeakAndTheMeanPower) {
  const Envelope left{0.05, {{0.5F, 0.2F}, {0.25F, 0.5F}}};
  const Envelope right{0.05, {{0.75F, 0.0F}}};
  const Envelope both = joined({left, right});
  ASSERT_EQ(both.cells.size(), 2U);
  EXPECT_EQ(both.cell_s, 0.05);
  EXPECT_EQ(both.cells[0].peak, 0.75F);
  EXPECT_FLOAT_EQ(both.cells[0].power, 0.1F);
  EXPECT_EQ(both.cells[1].peak, 0.25F);
  EXPECT_FLOAT_EQ(both.cells[1].power, 0.5F);
}

}  // namespace
}  // namespace kilter
