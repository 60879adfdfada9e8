#include "kilter/signal/resampler.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include "reference/resample_reference.h"

namespace kilter {
namespace {

using Samples = std::vector<float>;

MapResampler::Pull pull_from(const Samples& track) {
  return [&track, next = std::size_t{0}](std::span<float> out) mutable -> Result<std::int64_t> {
    const std::size_t count = std::min(out.size(), track.size() - next);
    std::copy_n(track.begin() + static_cast<std::ptrdiff_t>(next), count, out.begin());
    next += count;
    return static_cast<std::int64_t>(count);
  };
}

struct Rates {
  double in_hz{48000.0};
  double out_hz{48000.0};
  double from_s{0.0};
};

Samples resample(const Samples& track, const TimeMap& map, const Rates& rates, std::size_t frames,
                 std::size_t block = 1000) {
  MapResampler resampler(map, {rates.in_hz}, {rates.out_hz}, rates.from_s, pull_from(track));
  Samples out(frames);
  for (std::size_t at = 0; at < frames; at += block)
    EXPECT_TRUE(resampler.read(std::span(out).subspan(at, std::min(block, frames - at))));
  return out;
}

Samples noise(std::size_t frames) {
  Samples samples(frames);
  std::uint32_t state = 12345;
  for (float& sample : samples) {
    state = state * 1664525U + 1013904223U;
    sample = static_cast<float>(state >> 8U) / 0x1p23F - 1.0F;
  }
  return samples;
}

TimeMap make_map(std::vector<Span> spans) { return *TimeMap::make(std::move(spans)); }

constexpr double kAmplitude = 0.5;
constexpr double kLength_s = 0.3;  // of a sine

double sine_at(double time_s, double frequency_hz) {
  return kAmplitude * std::sin(2.0 * std::numbers::pi * frequency_hz * time_s + 0.3);
}

Samples sine(double frequency_hz, double rate_hz, double length_s) {
  Samples track(static_cast<std::size_t>(std::llround(length_s * rate_hz)));
  for (std::size_t i = 0; i < track.size(); ++i)
    track[i] = static_cast<float>(sine_at(static_cast<double>(i) / rate_hz, frequency_hz));
  return track;
}

/// Power against that of the sine, in dB.
double level_db(double sum_of_squares, std::size_t count) {
  const double power = sum_of_squares / static_cast<double>(count);
  return 10.0 * std::log10(power / (0.5 * kAmplitude * kAmplitude));
}

struct Conversion {
  const char* name;
  double in_hz;
  double out_hz;
  double drift_ppm;
  double start_s;
};

void PrintTo(const Conversion& row, std::ostream* out) { *out << row.name; }

const auto kConversions =
    testing::Values(Conversion{"FiftyPpm", 48000, 48000, 50, 0.0},
                    Conversion{"AHundredPpm", 48000, 48000, 100, 0.0},
                    Conversion{"MinusAHundredPpm", 48000, 48000, -100, 0.0},
                    Conversion{"AQuarterOfAFrame", 48000, 48000, 0, -0.25 / 48000},
                    Conversion{"HalfAFrame", 48000, 48000, 0, -0.5 / 48000},
                    Conversion{"FiftyPpmAt44100", 44100, 44100, 50, 0.0},
                    Conversion{"From44100To48000", 44100, 48000, 0, 0.0},
                    Conversion{"From48000To44100", 48000, 44100, 0, 0.0},
                    Conversion{"From44100To48000WithDrift", 44100, 48000, 73, -0.01},
                    Conversion{"From96000To48000", 96000, 48000, -40, 0.0},
                    Conversion{"From32000To48000", 32000, 48000, 12, 0.0},
                    Conversion{"From48000To96000", 48000, 96000, 12, 0.0},
                    Conversion{"From192000To16000", 192000, 16000, 0, 0.0});

class Resampler : public testing::TestWithParam<Conversion> {};

// 120 dB is below the noise of any converter, and 24 dB above what 24 bits can hold.
TEST_P(Resampler, KeepsSinesToA120DecibelsUpToNineTenthsOfTheLowerHalfRate) {
  const Conversion& row = GetParam();
  const double lower_half_hz = 0.5 * std::min(row.in_hz, row.out_hz);
  const auto map = TimeMap::line(row.start_s, row.drift_ppm, kLength_s, 0.0);
  for (const double share : {0.01, 0.1, 0.4, 0.7, 0.9}) {
    const double frequency_hz = std::min(20000.0, share * lower_half_hz);
    const Samples out =
        resample(sine(frequency_hz, row.in_hz, kLength_s), *map, {row.in_hz, row.out_hz},
                 static_cast<std::size_t>(kLength_s * row.out_hz));
    double error = 0.0;
    const std::size_t edge = out.size() / 10;
    for (std::size_t n = edge; n < out.size() - edge; ++n) {
      const double track_s = *map->to_track(static_cast<double>(n) / row.out_hz);
      error += std::pow(static_cast<double>(out[n]) - sine_at(track_s, frequency_hz), 2.0);
    }
    EXPECT_LT(level_db(error, out.size() - 2 * edge), -120.0) << frequency_hz << " Hz";
  }
}

TEST_P(Resampler, AgreesWithItsSlowTwin) {
  const Conversion& row = GetParam();
  const auto map = TimeMap::line(row.start_s + 0.003, row.drift_ppm, 0.05, 0.0);
  const Samples track = noise(static_cast<std::size_t>(0.05 * row.in_hz));
  constexpr int kFrames = 2700;
  const Samples out = resample(track, *map, {row.in_hz, row.out_hz}, kFrames);
  const double stretch = row.in_hz / row.out_hz * (1.0 + row.drift_ppm * 1e-6);
  const auto expected = reference::resample(track, *map, row.in_hz, row.out_hz, 0.0, kFrames,
                                            stretch > 1.002 ? stretch : 1.0);
  // White noise of full scale: 120 dB down is 1e-6.
  for (std::size_t n = 0; n < out.size(); ++n) ASSERT_NEAR(out[n], expected[n], 1e-6) << n;
}

INSTANTIATE_TEST_SUITE_P(All, Resampler, kConversions,
                         [](const auto& each) { return each.param.name; });

struct Folded {
  const char* name;
  double in_hz;
  double out_hz;
  double frequency_hz;
};

void PrintTo(const Folded& row, std::ostream* out) { *out << row.name; }

class FoldedSound : public testing::TestWithParam<Folded> {};

TEST_P(FoldedSound, Is120DecibelsDown) {
  const Folded& row = GetParam();
  const auto map = TimeMap::line(0.0, 0.0, kLength_s, 0.0);
  const Samples out =
      resample(sine(row.frequency_hz, row.in_hz, kLength_s), *map, {row.in_hz, row.out_hz},
               static_cast<std::size_t>(kLength_s * row.out_hz));
  const std::size_t edge = out.size() / 10;
  double power = 0.0;
  for (std::size_t n = edge; n < out.size() - edge; ++n)
    power += std::pow(static_cast<double>(out[n]), 2.0);
  EXPECT_LT(level_db(power, out.size() - 2 * edge), -120.0);
}

INSTANTIATE_TEST_SUITE_P(All, FoldedSound,
                         testing::Values(Folded{"From96000JustAboveTheHalfRate", 96000, 48000,
                                                26400},
                                         Folded{"From96000FarAbove", 96000, 48000, 40000},
                                         Folded{"From88200To44100", 88200, 44100, 24300},
                                         Folded{"From192000To16000", 192000, 16000, 9000}),
                         [](const auto& each) { return each.param.name; });

TEST(ResamplerPosition, DoesNotAddUpRounding) {
  // Two million frames: a sum of rounded steps would be off by more than a thousandth of a frame.
  constexpr double kRate_hz = 1000.0;
  constexpr double kFrequency_hz = 410.0;
  constexpr std::size_t kFrames = 2000000;
  const Samples track = sine(kFrequency_hz, kRate_hz, 2000.3);
  const auto map = TimeMap::line(0.0, 100.0, 2000.3, 0.0);
  const Samples out = resample(track, *map, {kRate_hz, kRate_hz}, kFrames, 50000);
  double error = 0.0;
  for (std::size_t n = kFrames - 1000; n < kFrames; ++n) {
    const double track_s = *map->to_track(static_cast<double>(n) / kRate_hz);
    error += std::pow(static_cast<double>(out[n]) - sine_at(track_s, kFrequency_hz), 2.0);
  }
  EXPECT_LT(level_db(error, 1000), -120.0);
}

struct WholeFrames {
  const char* name;
  double rate_hz;
  std::int64_t delay;  // frames by which the track starts after output frame 0
  double from_s;
};

void PrintTo(const WholeFrames& row, std::ostream* out) { *out << row.name; }

class WholeFrameMap : public testing::TestWithParam<WholeFrames> {};

TEST_P(WholeFrameMap, CopiesBitForBit) {
  const WholeFrames& row = GetParam();
  Samples track = noise(60000);
  track[500] = -0.0F;
  track[501] = std::numeric_limits<float>::denorm_min();
  const double length_s = static_cast<double>(track.size()) / row.rate_hz;
  const double start_s = row.from_s + static_cast<double>(row.delay) / row.rate_hz;
  const auto map = TimeMap::line(start_s, 0.0, length_s, 0.0);
  const Samples out = resample(track, *map, {row.rate_hz, row.rate_hz, row.from_s}, 70000);
  for (std::int64_t n = 0; n < std::ssize(out); ++n) {
    const std::int64_t source = n - row.delay;
    const bool inside = source >= 0 && source < std::ssize(track);
    const float expected = inside ? track[static_cast<std::size_t>(source)] : 0.0F;
    const float actual = out[static_cast<std::size_t>(n)];
    ASSERT_EQ(std::bit_cast<std::uint32_t>(actual), std::bit_cast<std::uint32_t>(expected)) << n;
  }
}

INSTANTIATE_TEST_SUITE_P(All, WholeFrameMap,
                         testing::Values(WholeFrames{"AtTheStart", 48000, 0, 0.0},
                                         WholeFrames{"LaterByWholeFrames", 48000, 7919, 0.0},
                                         WholeFrames{"EarlierByWholeFrames", 48000, -12345, 0.0},
                                         // No double holds these seconds exactly.
                                         WholeFrames{"AtARateThatDividesNoSecond", 44100, 3333,
                                                     0.0},
                                         WholeFrames{"HoursIn", 44100, 1, 7200.0 + 1.0 / 44100},
                                         WholeFrames{"BeforeTheTimeline", 48000, 100, -600.0}),
                         [](const auto& each) { return each.param.name; });

TEST(MapResampler, KeepsSilenceWhereNoSpanLies) {
  const Samples track(48000, 0.25F);
  const TimeMap map = make_map({{0.1, 0.3, 0.2, 0.4, 0.0}, {0.5, 0.7, 0.6, 0.8, 0.0}});
  const Samples out = resample(track, map, {}, 48000);
  for (std::size_t n = 0; n < out.size(); ++n) {
    const bool inside = (n >= 9600 && n < 19200) || (n >= 28800 && n < 38400);
    ASSERT_EQ(out[n], inside ? 0.25F : 0.0F) << n;
  }
}

TEST(MapResampler, StepsAtASeamToTheNextSpan) {
  const Samples track = noise(20000);
  // 0.1 s of the track are left out, then the clock runs 200 ppm fast.
  const double rate = 1.0 / 1.0002;
  const TimeMap map =
      make_map({{0.0, 0.15, 0.01, 0.16, 0.0}, {0.25, 0.4, 0.16, 0.16 + 0.15 * rate, 0.0}});
  const Samples out = resample(track, map, {}, 15000);
  const auto expected = reference::resample(track, map, 48000, 48000, 0.0, 15000, 1.0);
  for (std::size_t n = 0; n < out.size(); ++n) ASSERT_NEAR(out[n], expected[n], 1e-6) << n;
}

TEST(MapResampler, FollowsManyShortSpans) {
  const Samples track = noise(60000);
  std::vector<Span> spans;
  double line_s = 0.02;
  for (int i = 0; i < 120; ++i) {
    const double next_line_s = line_s + 0.01 * (1.0 + 1e-4 * std::sin(0.3 * i));
    spans.push_back({0.01 * i, 0.01 * (i + 1), line_s, next_line_s, 0.0});
    line_s = next_line_s;
  }
  const TimeMap map = make_map(spans);
  const Samples out = resample(track, map, {}, 58000);
  const auto expected = reference::resample(track, map, 48000, 48000, 0.0, 58000, 1.0);
  for (std::size_t n = 0; n < out.size(); ++n) ASSERT_NEAR(out[n], expected[n], 1e-6) << n;
}

TEST(MapResampler, IsSilentOutsideTheTrackThoughTheMapGoesOn) {
  const Samples track = noise(1000);
  const TimeMap map = make_map({{-1.0, 2.0, 0.0, 3.0003, 0.0}});
  const Samples out = resample(track, map, {}, 150000);
  // The kernel reaches 48 frames beyond either end.
  for (std::size_t n = 0; n < 48004 - 48; ++n) ASSERT_EQ(out[n], 0.0F) << n;
  for (std::size_t n = 48004 + 1001 + 49; n < out.size(); ++n) ASSERT_EQ(out[n], 0.0F) << n;
  EXPECT_NE(out[48500], 0.0F);
}

TEST(MapResampler, GivesTheSameBitsForAnyBlockSize) {
  const Samples track = noise(50000);
  const TimeMap map = make_map({{0.0, 0.5, -0.1, 0.40002, 0.0}, {0.5, 1.0, 0.45, 0.95001, 0.0}});
  const Rates rates{44100.0, 48000.0, 0.0};
  const Samples whole = resample(track, map, rates, 50000, 50000);
  for (const std::size_t block : {1U, 7U, 977U, 16384U})
    EXPECT_EQ(resample(track, map, rates, 50000, block), whole) << block;
}

TEST(MapResampler, AnEmptyTrackIsSilence) {
  const TimeMap map = make_map({{0.0, 1.0, 0.0, 1.0001, 0.0}});
  const Samples out = resample({}, map, {}, 1000);
  EXPECT_EQ(out, Samples(1000, 0.0F));
}

TEST(MapResampler, PassesOnThePullsFailure) {
  const TimeMap map = make_map({{0.0, 10.0, 0.0, 10.0, 0.0}});
  int pulls = 0;
  MapResampler resampler(map, {48000.0}, {48000.0}, 0.0,
                         [&](std::span<float> out) -> Result<std::int64_t> {
                           if (++pulls == 2) return Error{ErrorKind::unreadable, "a.wav", "x", "y"};
                           return std::ssize(out);
                         });
  Samples out(100000);
  const auto read = resampler.read(out);
  ASSERT_FALSE(read);
  EXPECT_EQ(read.error().file, "a.wav");
}

TEST(MapResampler, AbsurdMapsAreHarmless) {
  const Samples track = noise(1000);
  // As far as a map may go.
  for (const TimeMap& map :
       {make_map({{0.0, 1e6, 0.0, 1.0, 0.0}}), make_map({{0.0, 1.0, 0.0, 1e6, 0.0}}),
        make_map({{-1e6, 1.0, -1.0, 1.0, 0.0}}), make_map({{0.0, 1.0, -9e5, 1.0, 0.0}}),
        make_map({{-1e9, 1e9, -1e9, 1e9, 0.0}}), make_map({{-1e9, 1.0, 0.0, 1e9, 0.0}})}) {
    const Samples out = resample(track, map, {}, 2000);
    for (const float sample : out) ASSERT_TRUE(std::isfinite(sample));
  }
}

}  // namespace
}  // namespace kilter
