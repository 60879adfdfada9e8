#include "kilter/intake/level_meter.h"

#include <gtest/gtest.h>

#include <cmath>

#include "support/sound_files.h"

namespace kilter::intake {
namespace {

using test::Samples;

constexpr double kRateHz = 48000.0;

Levels levels_of(const Samples& samples, std::size_t block = 1000) {
  LevelMeter meter(SampleRate{kRateHz});
  for (std::size_t at = 0; at < samples.size(); at += block)
    meter.process(std::span(samples).subspan(at, std::min(block, samples.size() - at)));
  return meter.levels();
}

TEST(LevelMeter, KnowsTheLevelsOfASine) {
  const Levels levels = levels_of(test::sine(96000, 1000.0, kRateHz, 0.1));
  EXPECT_NEAR(levels.peak_dbfs, -20.0, 0.01);
  EXPECT_NEAR(levels.rms_dbfs, -23.01, 0.01);
  // Percentiles come in steps of 0.1 dB.
  EXPECT_NEAR(levels.level_dbfs, -23.01, 0.1);
  EXPECT_NEAR(levels.floor_dbfs, -23.01, 0.1);
}

TEST(LevelMeter, TellsTheTalkFromTheFloor) {
  // 20 s of which a quarter is loud.
  Samples samples = test::noise(960000, 0.001F, 1);
  const Samples talk = test::noise(240000, 0.2F, 2);
  std::copy(talk.begin(), talk.end(), samples.begin() + 480000);
  const Levels levels = levels_of(samples);
  // Uniform noise has an RMS of amplitude / sqrt(3).
  EXPECT_NEAR(levels.level_dbfs, 20.0 * std::log10(0.2 / std::sqrt(3.0)), 0.3);
  EXPECT_NEAR(levels.floor_dbfs, 20.0 * std::log10(0.001 / std::sqrt(3.0)), 0.3);
}

TEST(LevelMeter, HearsARareTalkerInItsLoudestMoments) {
  Samples samples = test::noise(4800000, 0.0003F, 3);
  const Samples talk = test::noise(48000, 0.2F, 4);  // 1 % of the time
  std::copy(talk.begin(), talk.end(), samples.begin() + 2400000);
  const Levels levels = levels_of(samples);
  EXPECT_LT(levels.level_dbfs, -70.0);
  EXPECT_GT(levels.loudest_dbfs, -20.0);
}

TEST(LevelMeter, FindsZerosAmidLoudSoundHoweverTheyComeInBlocks) {
  Samples samples = test::noise(480000, 0.1F, 5);
  std::fill(samples.begin() + 100000, samples.begin() + 120000, 0.0F);
  std::fill(samples.begin() + 300000, samples.begin() + 310000, 0.0F);
  std::fill(samples.begin() + 310000, samples.begin() + 330000, 0.0001F);  // a pause follows
  for (const std::size_t block : {std::size_t{777}, std::size_t{2400}, std::size_t{100000}}) {
    const Levels levels = levels_of(samples, block);
    EXPECT_EQ(levels.dropouts, 2);
    EXPECT_NEAR(static_cast<double>(levels.dropout_frames.n), 30000.0, 2.0 * 2400.0);
    EXPECT_NEAR(static_cast<double>(levels.first_dropout.n), 100000.0, 2400.0);
  }
}

TEST(LevelMeter, FindsZerosThatSwallowedTheBeginningOfAWord) {
  Samples samples = test::noise(480000, 0.0001F, 5);
  const Samples word = test::noise(48000, 0.1F, 6);
  std::copy(word.begin(), word.end(), samples.begin() + 200000);
  std::fill(samples.begin() + 190000, samples.begin() + 210000, 0.0F);
  EXPECT_EQ(levels_of(samples).dropouts, 1);
}

TEST(LevelMeter, TakesAGateAndAMuteInAPauseForNoDropout) {
  Samples samples = test::noise(480000, 0.1F, 6);
  // Fades over a fifth of a second into zeros, as a gate does, and comes back at once.
  for (std::size_t gate = 0; gate < 4; ++gate)
    for (std::size_t i = 0; i < 30000; ++i)
      samples[100000 + 48000 * gate + i] *= std::max(0.0F, 1.0F - static_cast<float>(i) / 9600.0F);
  // Muted in a pause.
  for (std::size_t i = 0; i < 60000; ++i)
    samples[300000 + i] *= i > 20000 && i < 40000 ? 0.0F : 0.001F;
  // Zeros before the talk begins and after it ends.
  std::fill(samples.begin(), samples.begin() + 48000, 0.0F);
  std::fill(samples.end() - 48000, samples.end(), 0.0F);
  EXPECT_EQ(levels_of(samples).dropouts, 0);
}

/// Words of 0.8 s with pauses of a second between them, in which the room is heard.
Samples words_and_pauses() {
  Samples samples = test::noise(1440000, 0.001F, 7);
  const Samples talk = test::noise(1440000, 0.1F, 8);
  for (std::size_t i = 0; i < samples.size(); ++i)
    if (i % 86400 < 38400) samples[i] = talk[i];
  return samples;
}

TEST(LevelMeter, TakesAGateThatCutsEveryPauseForNoDropouts) {
  for (const std::size_t stays_open : {std::size_t{0}, std::size_t{24000}}) {
    Samples samples = words_and_pauses();
    for (std::size_t i = 0; i < samples.size(); ++i)
      if (i % 86400 >= 38400 + stays_open) samples[i] = 0.0F;
    EXPECT_EQ(levels_of(samples).dropouts, 0) << stays_open;
    // And where somebody speaks only once in a long recording.
    Samples seldom(8 * samples.size(), 0.0F);
    std::copy(samples.begin(), samples.end(), seldom.end() - 2 * std::ssize(samples));
    EXPECT_EQ(levels_of(seldom).dropouts, 0) << stays_open;
  }
}

TEST(LevelMeter, TakesTheFewOpeningsOfAGateForNoDropouts) {
  Samples samples = words_and_pauses();
  for (std::size_t i = 0; i < samples.size(); ++i)
    if (i % 86400 >= 38400 + 12000) samples[i] = 0.0F;
  std::fill(samples.begin() + 3 * 86400, samples.end(), 0.0F);  // three words, and no more
  EXPECT_EQ(levels_of(samples).dropouts, 0);
}

TEST(LevelMeter, FindsADropoutThatBeginsInAPauseWhereOthersAreLeft) {
  Samples samples = words_and_pauses();
  std::fill(samples.begin() + 60000, samples.begin() + 90000, 0.0F);
  EXPECT_EQ(levels_of(samples).dropouts, 1);
}

TEST(LevelMeter, FindsManyDropoutsWhereThePausesAreLeft) {
  Samples samples = words_and_pauses();
  for (std::size_t i = 0; i < samples.size(); ++i)
    if (i % 86400 >= 12000 && i % 86400 < 24000) samples[i] = 0.0F;
  EXPECT_EQ(levels_of(samples).dropouts, 17);
}

TEST(LevelMeter, FindsDropoutsInANoiseThatLeavesNoPause) {
  Samples samples = test::noise(960000, 0.1F, 5);
  for (std::size_t run = 0; run < 6; ++run)
    std::fill_n(samples.begin() + static_cast<std::ptrdiff_t>(100000 + 120000 * run), 9600, 0.0F);
  EXPECT_EQ(levels_of(samples).dropouts, 6);
}

TEST(LevelMeter, ListsZerosWithSoundBeforeAndAfterThem) {
  Samples samples = test::noise(480000, 0.1F, 6);
  std::fill(samples.begin(), samples.begin() + 48000, 0.0F);
  std::fill(samples.begin() + 96000, samples.begin() + 144000, 0.0F);
  std::fill(samples.begin() + 144000, samples.begin() + 192000, 0.0001F);
  std::fill(samples.end() - 48000, samples.end(), 0.0F);
  LevelMeter meter(SampleRate{kRateHz});
  meter.process(samples);
  ASSERT_EQ(meter.zero_runs().size(), 1U);
  const ZeroRun& run = meter.zero_runs().front();
  EXPECT_EQ(run.from.n, 96000);
  EXPECT_EQ(run.length.n, 48000);
  EXPECT_TRUE(run.loud_before);
  EXPECT_FALSE(run.loud_after);
}

TEST(LevelMeter, CallsZerosMinusInfinity) {
  const Levels levels = levels_of(Samples(48000, 0.0F));
  EXPECT_EQ(levels.peak_dbfs, -INFINITY);
  EXPECT_EQ(levels.rms_dbfs, -INFINITY);
  EXPECT_EQ(levels.level_dbfs, -INFINITY);
  EXPECT_EQ(levels.floor_dbfs, -INFINITY);
  EXPECT_EQ(levels.talk_share, 0.0);
}

TEST(LevelMeter, IsNotFooledByADirectVoltage) {
  Samples samples = test::noise(96000, 0.001F, 5);
  for (float& x : samples) x += 0.25F;
  const Levels levels = levels_of(samples);
  EXPECT_NEAR(levels.dc, 0.25, 1e-4);
  EXPECT_NEAR(levels.rms_dbfs, 20.0 * std::log10(0.001 / std::sqrt(3.0)), 0.3);
  EXPECT_NEAR(levels.level_dbfs, levels.rms_dbfs, 0.3);
}

TEST(LevelMeter, MeasuresEvenLessThanOneStretch) {
  const Levels levels = levels_of(test::sine(480, 1000.0, kRateHz, 0.1));
  EXPECT_NEAR(levels.level_dbfs, -23.01, 0.1);
}

struct ClipCase {
  const char* name;
  Samples samples;
  std::int64_t runs, frames, first;
};

class Clipping : public testing::TestWithParam<ClipCase> {};

TEST_P(Clipping, IsCountedByRuns) {
  const ClipCase& expected = GetParam();
  // One sample at a time: a run across two calls is one run.
  const Levels levels = levels_of(expected.samples, 1);
  EXPECT_EQ(levels.clipped_runs, expected.runs);
  EXPECT_EQ(levels.clipped_frames, expected.frames);
  if (expected.runs > 0) {
    EXPECT_EQ(levels.first_clip.n, expected.first);
  }
}

INSTANTIATE_TEST_SUITE_P(
    Cases, Clipping,
    testing::Values(
        ClipCase{"ATouchIsNone", {0.5F, 1.0F, 0.5F}, 0, 0, 0},
        ClipCase{"TwoInARowAreNone", {0.5F, 1.0F, 1.0F, 0.5F}, 0, 0, 0},
        ClipCase{"AFlatTopIsOne", {0.0F, 1.0F, 1.0F, 1.0F, 1.0F, 0.0F}, 1, 4, 1},
        ClipCase{"ARoundTopAboveFullScaleIsNone", {0.9F, 1.1F, 1.2F, 1.15F, 1.05F, 0.9F}, 0, 0, 0},
        ClipCase{"ANegativeOneToo", {-1.0F, -1.0F, -1.0F, 0.0F}, 1, 3, 0},
        ClipCase{
            "TwoAreTwo", {0.0F, 1.0F, 1.0F, 1.0F, 0.0F, 0.9F, 1.2F, 1.2F, 1.2F, 1.2F}, 2, 7, 1}),
    [](const auto& each) { return each.param.name; });

TEST(LevelMeter, TellsWhichPartOfTheTimeIsTalk) {
  // A third of the time loud, a tenth of it a cough far below, the rest the room.
  LevelMeter meter({48000.0});
  for (int second = 0; second < 30; ++second)
    meter.process(test::noise(48000,
                              second % 3 == 0 ? 0.2F
                              : second == 1   ? 0.002F
                                              : 0.0002F,
                              static_cast<std::uint32_t>(second)));
  EXPECT_NEAR(meter.levels().talk_share, 1.0 / 3.0, 1e-3);
  LevelMeter room({48000.0});
  room.process(test::noise(480000, 0.0002F, 1));
  EXPECT_EQ(room.levels().talk_share, 0.0);
}

TEST(LevelMeter, TellsHowLoudEachStretchIs) {
  LevelMeter meter(SampleRate{8000.0});
  std::vector<float> sound(8000, 0.0F);
  for (std::size_t i = 4000; i < sound.size(); ++i) sound[i] = i % 2 == 0 ? 0.5F : -0.5F;
  meter.process(std::span(sound).first(4100));  // in the midst of a stretch
  meter.process(std::span(sound).subspan(4100));
  const Envelope envelope = meter.envelope();
  ASSERT_EQ(envelope.cells.size(), 20U);
  EXPECT_EQ(envelope.cell_s, 0.05);
  for (std::size_t i = 0; i < 20; ++i) {
    EXPECT_EQ(envelope.cells[i].peak, i < 10 ? 0.0F : 0.5F);
    EXPECT_EQ(envelope.cells[i].power, i < 10 ? 0.0F : 0.25F);
  }
}

}  // namespace
}  // namespace kilter::intake
