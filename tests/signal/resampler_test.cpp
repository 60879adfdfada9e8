#include "kilter/signal/resampler.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <utility>
#include <vector>

#include "reference/resample_reference.h"
#include "reference/tones.h"

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

/// Something like noise, up to `top_hz`.
Samples hiss(std::size_t frames, double rate_hz, double top_hz) {
  reference::Tones tones{{}, 0.1};
  std::uint32_t state = 4321;
  for (int i = 0; i < 100; ++i) {
    state = state * 1664525U + 1013904223U;
    tones.frequencies_hz.push_back(top_hz * std::ldexp(static_cast<double>(state), -32));
  }
  return tones.sampled(rate_hz, frames);
}

TimeMap make_map(std::vector<Span> spans) { return *TimeMap::make(std::move(spans)); }

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
                    Conversion{"ThreePpm", 48000, 48000, 3, -0.4 / 48000},
                    Conversion{"ATenthOfAFrame", 48000, 48000, 0, -0.1 / 48000},
                    Conversion{"AQuarterOfAFrame", 48000, 48000, 0, -0.25 / 48000},
                    Conversion{"HalfAFrame", 48000, 48000, 0, -0.5 / 48000},
                    // Where two cells meet, and just before.
                    Conversion{"ACellsEnd", 48000, 48000, 0, -0.75 / 48000},
                    Conversion{"JustBeforeACellsEnd", 48000, 48000, 0, -0.7499999 / 48000},
                    Conversion{"AHundredPpmAt44100", 44100, 44100, 100, 0.0},
                    Conversion{"HalfAFrameAt44100", 44100, 44100, 0, -0.5 / 44100},
                    Conversion{"AHundredPpmAt8000", 8000, 8000, 100, 0.0},
                    Conversion{"AHundredPpmAt96000", 96000, 96000, 100, 0.0},
                    Conversion{"AHundredPpmAt768000", 768000, 768000, 100, 0.0},
                    Conversion{"From44100To48000", 44100, 48000, 0, 0.0},
                    Conversion{"From48000To44100", 48000, 44100, 0, 0.0},
                    Conversion{"From44100To48000WithDrift", 44100, 48000, 73, -0.01},
                    Conversion{"From48000To44100WithDrift", 48000, 44100, -73, -0.01},
                    Conversion{"From96000To48000", 96000, 48000, 0, 0.0},
                    Conversion{"From96000To48000WithDrift", 96000, 48000, -40, 0.0},
                    Conversion{"From32000To48000", 32000, 48000, 12, 0.0},
                    Conversion{"From48000To96000", 48000, 96000, 12, 0.0},
                    Conversion{"From192000To16000", 192000, 16000, 0, 0.0},
                    Conversion{"From16000To192000", 16000, 192000, 0, 0.0},
                    Conversion{"From768000To8000", 768000, 8000, 5, 0.0});

/// 20 kHz, or what the header promises for other rates.
double pass_hz(double in_hz, double out_hz) {
  return reference::pass_share(in_hz, out_hz) * 0.5 * std::min(in_hz, out_hz);
}

/// A line that runs through a whole track, and the track's second of every output frame, worked out
/// apart from the map.
struct Line {
  explicit Line(const Conversion& conversion)
      : row(conversion),
        length_s(std::max(14400.0 / std::max(row.in_hz, row.out_hz),
                          1000.0 / std::min(row.in_hz, row.out_hz))),
        map(*TimeMap::line(row.start_s, row.drift_ppm, length_s, 0.0)),
        frames(static_cast<std::size_t>(length_s * row.out_hz)) {}
  double track_s_of(std::size_t n) const {
    const long double line_s = static_cast<long double>(n) / static_cast<long double>(row.out_hz);
    return static_cast<double>((line_s - static_cast<long double>(row.start_s)) *
                               (1.0L + static_cast<long double>(row.drift_ppm) * 1e-6L));
  }
  Samples of(const reference::Tones& tones) const {
    return resample(tones.sampled(row.in_hz, static_cast<std::size_t>(length_s * row.in_hz)), map,
                    {row.in_hz, row.out_hz}, frames);
  }
  /// Away from the ends, where the tones break off.
  std::size_t first() const { return frames / 10; }
  std::size_t end() const { return frames - frames / 10; }

  Conversion row;
  double length_s;
  TimeMap map;
  std::size_t frames;
};

/// What is in `out` besides the tones as they should be, against them.
double error_db(const Line& line, const reference::Tones& tones) {
  const Samples out = line.of(tones);
  double error = 0.0;
  for (std::size_t n = line.first(); n < line.end(); ++n)
    error += std::pow(static_cast<double>(out[n]) - tones.at(line.track_s_of(n)), 2.0);
  return reference::db_of_power(error / static_cast<double>(line.end() - line.first()) /
                                tones.power());
}

class Resampler : public testing::TestWithParam<Conversion> {};

// Everything counts: wrong level, images, aliases, distortion, noise. 130 dB are 2 dB below the
// rounding of 22 bits.
TEST_P(Resampler, GivesATone130DecibelsAboveWhateverElseItAdds) {
  const Line line(GetParam());
  const double top_hz = pass_hz(line.row.in_hz, line.row.out_hz);
  for (const double frequency_hz :
       {20.0, 0.05 * top_hz, 0.3 * top_hz, 0.5 * top_hz, 0.8 * top_hz, 0.95 * top_hz, top_hz})
    EXPECT_LT(error_db(line, {{frequency_hz}, 1.0}), -130.0) << frequency_hz << " Hz";
}

TEST_P(Resampler, GivesManyTonesAtOnce130DecibelsAboveWhateverElseItAdds) {
  const Line line(GetParam());
  const double top_hz = pass_hz(line.row.in_hz, line.row.out_hz);
  reference::Tones tones;
  for (double frequency_hz = top_hz; frequency_hz > 20.0; frequency_hz /= 1.4)
    tones.frequencies_hz.push_back(frequency_hz);
  tones.amplitude = 1.0 / static_cast<double>(tones.frequencies_hz.size());
  EXPECT_LT(error_db(line, tones), -130.0);
}

TEST_P(Resampler, IsLevelToAThousandthOfADecibel) {
  const Line line(GetParam());
  std::vector<double> times_s;
  for (std::size_t n = line.first(); n < line.end(); ++n) times_s.push_back(line.track_s_of(n));
  const double top_hz = pass_hz(line.row.in_hz, line.row.out_hz);
  for (const double share : {0.02, 0.25, 0.5, 0.75, 0.9, 1.0}) {
    const reference::Tones tone{{share * top_hz}, 1.0};
    const Samples out = line.of(tone);
    const auto fit = reference::fit_sines(std::span(out).subspan(line.first(), times_s.size()),
                                          times_s, tone.frequencies_hz);
    EXPECT_LT(std::abs(20.0 * std::log10(fit.amplitudes[0])), 0.001) << tone.frequencies_hz[0];
  }
}

TEST_P(Resampler, AgreesWithItsSlowTwin) {
  const Conversion& row = GetParam();
  const double stretch = std::max(1.0, row.in_hz / row.out_hz);
  const int frames = static_cast<int>(std::max(2000.0 / (stretch * stretch), 60.0));
  const double length_s = 0.9 * frames / row.out_hz;
  const auto map = TimeMap::line(row.start_s + 0.0471 * length_s, row.drift_ppm, length_s, 0.0);
  const Samples track = hiss(static_cast<std::size_t>(length_s * row.in_hz), row.in_hz,
                             pass_hz(row.in_hz, row.out_hz));
  const Samples out =
      resample(track, *map, {row.in_hz, row.out_hz}, static_cast<std::size_t>(frames));
  const auto expected =
      reference::resample(track, *map, row.in_hz, row.out_hz, 0.0, frames, stretch);
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

TEST_P(FoldedSound, Is130DecibelsDown) {
  const Folded& row = GetParam();
  const Line line({row.name, row.in_hz, row.out_hz, 0.0, 0.0});
  const reference::Tones tone{{row.frequency_hz}, 1.0};
  const Samples out = line.of(tone);
  double power = 0.0;
  for (std::size_t n = line.first(); n < line.end(); ++n)
    power += std::pow(static_cast<double>(out[n]), 2.0);
  power /= static_cast<double>(line.end() - line.first());
  EXPECT_LT(reference::db_of_power(power / tone.power()), -130.0);
}

// From the pass band's mirror image on.
INSTANTIATE_TEST_SUITE_P(All, FoldedSound,
                         testing::Values(Folded{"From96000Onto20000", 96000, 48000, 28000},
                                         Folded{"From96000Onto19000", 96000, 48000, 29000},
                                         Folded{"From96000FarAbove", 96000, 48000, 40000},
                                         Folded{"From88200Onto20000", 88200, 44100, 24100},
                                         Folded{"From192000Onto7256", 192000, 16000, 8744},
                                         Folded{"From768000FarAbove", 768000, 8000, 100000}),
                         [](const auto& each) { return each.param.name; });

struct Between {
  const char* name;
  Conversion conversion;
  double frequency_hz;
};

void PrintTo(const Between& row, std::ostream* out) { *out << row.name; }

class SoundBetweenTheBands : public testing::TestWithParam<Between> {};

// It comes out weaker, and as its images, all above the pass band; nothing of it gets below.
TEST_P(SoundBetweenTheBands, StaysThere) {
  const Between& row = GetParam();
  const Line line(row.conversion);
  const reference::Tones tone{{row.frequency_hz}, 1.0};
  const Samples out = line.of(tone);
  const double top_hz = pass_hz(row.conversion.in_hz, row.conversion.out_hz);
  double power = 0.0;
  std::size_t count = 0;
  for (std::size_t n = line.first(); n < line.end(); n += 3, ++count)
    power += std::pow(reference::below(out, n, row.conversion.out_hz, top_hz), 2.0);
  EXPECT_LT(reference::db_of_power(power / static_cast<double>(count) / tone.power()), -130.0);
}

TEST(ReferenceBelow, TellsSoundFromSoundAbove) {
  for (const auto& [frequency_hz, level] : {std::pair{19900.0, 1.0}, std::pair{21000.0, 0.0}}) {
    const Samples tone = reference::Tones{{frequency_hz}, 1.0}.sampled(48000.0, 2000);
    double most = 0.0;
    for (std::size_t n = 800; n < 1200; ++n)
      most = std::max(most, std::abs(reference::below(tone, n, 48000.0, 20000.0)));
    EXPECT_NEAR(most, level, level > 0.0 ? 1e-3 : 1e-7);
  }
}

INSTANTIATE_TEST_SUITE_P(
    All, SoundBetweenTheBands,
    testing::Values(Between{"AHundredPpmAt21000", {"", 48000, 48000, 100, 0.0}, 21000},
                    Between{"AHundredPpmAt22500", {"", 48000, 48000, 100, 0.0}, 22500},
                    Between{"AHundredPpmAt23500", {"", 48000, 48000, 100, 0.0}, 23500},
                    Between{"AHundredPpmOf44100At21500", {"", 44100, 44100, 100, 0.0}, 21500},
                    Between{"From44100To48000At21000", {"", 44100, 48000, 0, 0.0}, 21000},
                    Between{"From44100To48000At21900", {"", 44100, 48000, 30, 0.0}, 21900}),
    [](const auto& each) { return each.param.name; });

/// A clock that wanders by 4 ppm about 20 ppm: spans of `span_s`, joined.
TimeMap wander(int spans, double span_s) {
  std::vector<Span> made;
  double line_s = 0.0;
  for (int i = 0; i < spans; ++i) {
    const double drift_ppm = 20.0 + 2.0 * std::sin(1.9 * i);
    const double next_line_s = line_s + span_s / (1.0 + drift_ppm * 1e-6);
    made.push_back({span_s * i, span_s * (i + 1), line_s, next_line_s, 0.0});
    line_s = next_line_s;
  }
  return make_map(made);
}

TEST(ResamplerWander, GivesTones130DecibelsAboveWhateverElseItAdds) {
  for (const auto& [spans, span_s] : {std::pair{4, 2.0}, std::pair{160, 0.01}}) {
    const TimeMap map = wander(spans, span_s);
    const double length_s = spans * span_s;
    const auto frames = static_cast<std::size_t>(length_s * 48000.0);
    for (const reference::Tones& tones :
         {reference::Tones{{1000.0}, 1.0}, reference::Tones{{20000.0}, 1.0},
          reference::Tones{{53.0, 710.0, 3100.0, 9700.0, 17300.0}, 0.2}}) {
      const Samples out = resample(tones.sampled(48000.0, frames), map, {}, frames - 2000);
      double error = 0.0;
      std::size_t span = 0;
      for (std::size_t n = 1000; n < out.size(); ++n) {
        const long double line_s = static_cast<long double>(n) / 48000.0L;
        while (map.spans()[span].line_to_s <= static_cast<double>(line_s)) ++span;
        const Span& here = map.spans()[span];
        const long double track_s =
            here.from_s + (line_s - here.line_from_s) *
                              (static_cast<long double>(here.to_s) - here.from_s) /
                              (static_cast<long double>(here.line_to_s) - here.line_from_s);
        error +=
            std::pow(static_cast<double>(out[n]) - tones.at(static_cast<double>(track_s)), 2.0);
      }
      EXPECT_LT(
          reference::db_of_power(error / static_cast<double>(out.size() - 1000) / tones.power()),
          -130.0)
          << spans << " spans, " << tones.frequencies_hz.back() << " Hz";
    }
  }
}

// A guest's sound played 1.5 times as fast: the band that goes beyond the half rate must not fold.
TEST(ResamplerPressed, LowersTheCutOffOfThatSpanOnly) {
  const TimeMap map = make_map({{0.0, 0.3, 0.0, 0.3, 0.0}, {0.3, 0.6, 0.3, 0.5, 0.0}});
  const auto power_of = [&](double frequency_hz) {
    const Samples out =
        resample(reference::Tones{{frequency_hz}, 1.0}.sampled(48000.0, 28800), map, {}, 24000);
    const auto power = [&](std::size_t from, std::size_t to) {
      double sum = 0.0;
      for (std::size_t n = from; n < to; ++n) sum += std::pow(static_cast<double>(out[n]), 2.0);
      return reference::db_of_power(sum / static_cast<double>(to - from) / 0.5);
    };
    return std::pair{power(2000, 14000), power(15000, 23000)};
  };
  // 28 kHz on the timeline is 18.67 kHz in the track, 20 kHz there 13.33 kHz.
  EXPECT_NEAR(power_of(18800.0).first, 0.0, 0.001);
  EXPECT_LT(power_of(18800.0).second, -130.0);
  EXPECT_NEAR(power_of(13000.0).second, 0.0, 0.001);
}

TEST(ResamplerPressed, MayRunAFifthOfAPercentFastWithoutFolding) {
  const TimeMap map = *TimeMap::line(0.0, 2000.0, 0.3, 0.0);
  const reference::Tones tones{{20000.0}, 1.0};
  const Samples out = resample(tones.sampled(48000.0, 14400), map, {}, 14000);
  double error = 0.0;
  for (std::size_t n = 1400; n < 12600; ++n)
    error += std::pow(static_cast<double>(out[n]) -
                          tones.at(static_cast<double>(n) / 48000.0 * (1.0 + 2000.0 * 1e-6)),
                      2.0);
  EXPECT_LT(reference::db_of_power(error / 11200.0 / tones.power()), -130.0);
}

TEST(ResamplerPosition, DoesNotAddUpRounding) {
  // Two million frames: a sum of rounded steps would be off by more than a thousandth of a frame.
  constexpr double kRate_hz = 1000.0;
  constexpr std::size_t kFrames = 2000000;
  const reference::Tones tone{{410.0}, 1.0};
  const auto map = TimeMap::line(0.0, 100.0, 2000.3, 0.0);
  const Samples out =
      resample(tone.sampled(kRate_hz, 2000300), *map, {kRate_hz, kRate_hz}, kFrames, 50000);
  double error = 0.0;
  for (std::size_t n = kFrames - 1000; n < kFrames; ++n) {
    const double track_s = static_cast<double>(n) / kRate_hz * (1.0 + 100.0 * 1e-6);
    error += std::pow(static_cast<double>(out[n]) - tone.at(track_s), 2.0);
  }
  EXPECT_LT(reference::db_of_power(error / 1000.0 / tone.power()), -130.0);
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
  const Samples track = hiss(20000, 48000.0, 20000.0);
  // 0.1 s of the track are left out, then the clock runs 200 ppm fast.
  const double rate = 1.0 / 1.0002;
  const TimeMap map =
      make_map({{0.0, 0.15, 0.01, 0.16, 0.0}, {0.25, 0.4, 0.16, 0.16 + 0.15 * rate, 0.0}});
  const Samples out = resample(track, map, {}, 15000);
  const auto expected = reference::resample(track, map, 48000, 48000, 0.0, 15000, 1.0);
  for (std::size_t n = 0; n < out.size(); ++n) ASSERT_NEAR(out[n], expected[n], 1e-6) << n;
}

TEST(MapResampler, FollowsManyShortSpans) {
  const Samples track = hiss(60000, 48000.0, 20000.0);
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
  // The kernels reach 36 frames beyond either end.
  for (std::size_t n = 0; n < 48004 - 36; ++n) ASSERT_EQ(out[n], 0.0F) << n;
  for (std::size_t n = 48004 + 1001 + 37; n < out.size(); ++n) ASSERT_EQ(out[n], 0.0F) << n;
  EXPECT_NE(out[48500], 0.0F);
}

TEST(MapResampler, GivesTheSameBitsForAnyBlockSize) {
  const Samples track = noise(50000);
  const TimeMap steps = make_map({{0.0, 0.3, -0.1, 0.2, 0.0},  // copied
                                  {0.3, 0.5, 0.2, 0.40002, 0.0},
                                  {0.5, 0.7, 0.45, 0.65 - 1e-6, 0.0},
                                  {0.7, 1.0, 0.7, 0.85, 0.0}});
  for (const Rates& rates : {Rates{}, Rates{44100.0, 48000.0, 0.0}, Rates{96000.0, 48000.0, 0.0}}) {
    const Samples whole = resample(track, steps, rates, 50000, 50000);
    for (const std::size_t block : {1U, 7U, 24U, 977U, 16384U})
      EXPECT_EQ(resample(track, steps, rates, 50000, block), whole) << block;
  }
}

TEST(MapResampler, PullsOnlyWhatOutputNeeds) {
  struct Row {
    TimeMap map;
    std::int64_t needed;  // by 10000 outputs
  };
  // The kernels reach 36 frames beyond the frame at the position or before it.
  for (const Row& row : {Row{make_map({{0.0, 1.0, 0.0, 1.0, 0.0}}), 10000},
                         Row{make_map({{0.5, 1.0, 0.1, 0.6, 0.0}}), 24000 + 10000 - 4800},
                         Row{*TimeMap::line(-0.5 / 48000, 0.0, 1.0, 0.0), 9999 + 36 + 1},
                         Row{*TimeMap::line(0.0, 100.0, 1.0, 0.0), 9999 + 36 + 1}}) {
    std::int64_t pulled = 0;
    MapResampler resampler(row.map, {48000.0}, {48000.0}, 0.0,
                           [&](std::span<float> out) -> Result<std::int64_t> {
                             pulled += std::ssize(out);
                             std::fill(out.begin(), out.end(), 0.5F);
                             return std::ssize(out);
                           });
    Samples out(10000);
    ASSERT_TRUE(resampler.read(out));
    EXPECT_EQ(pulled, row.needed);
  }
}

TEST(MapResampler, ReadsNoTrackWhereNoSpanLies) {
  const TimeMap map = make_map({{0.0, 0.5, 1.0, 1.50001, 0.0}});
  MapResampler resampler(map, {48000.0}, {48000.0}, 0.0,
                         [&](std::span<float>) -> Result<std::int64_t> {
                           return Error{ErrorKind::unreadable, "a.wav", "x", "y"};
                         });
  Samples out(48000);
  EXPECT_TRUE(resampler.read(out));
  EXPECT_FALSE(resampler.read(out));
}

TEST(MapResampler, CopiesAfterInterpolatingAndBack) {
  const Samples track = hiss(48000, 48000.0, 20000.0);
  const double half_frame = 0.5 / 48000;
  const TimeMap map = make_map({{0.0, 0.2, half_frame, 0.2 + half_frame, 0.0},
                                {0.3, 0.5, 0.3, 0.5, 0.0},
                                {0.5, 0.7, 0.5 + half_frame, 0.7 + half_frame, 0.0}});
  const Samples out = resample(track, map, {}, 25000);
  const auto expected = reference::resample(track, map, 48000, 48000, 0.0, 25000, 1.0);
  for (std::size_t n = 0; n < out.size(); ++n)
    if (n >= 14400 && n < 24000)
      ASSERT_EQ(out[n], track[n]) << n;
    else if (n == 24000)  // lies between the spans
      ASSERT_EQ(out[n], 0.0F);
    else
      ASSERT_NEAR(out[n], expected[n], 1e-6) << n;
}

TEST(MapResampler, TellsHowOutputWillComeAbout) {
  using Passage = MapResampler::Passage;
  const double half_frame = 0.5 / 48000;
  const TimeMap map = make_map({{0.0, 0.1, 0.1, 0.2, 0.0},    // copied
                                {0.15, 0.25, 0.2, 0.3, 0.0},  // after a jump, copied too
                                {0.3, 0.4, 0.4, 0.4 + 0.1 / 1.0001, 0.0},
                                {0.4, 0.5, 0.4 + 0.1 / 1.0001, 0.6, 0.0},
                                {0.5, 0.5 + 1e-6, 0.6 + half_frame, 0.6 + half_frame + 1e-6, 0.0},
                                {0.6, 0.7, 0.6 + 1.0 / 48000, 0.7 + 1.0 / 48000, 0.0}});
  MapResampler resampler(map, {48000.0}, {48000.0}, 0.0, [](std::span<float> out) {
    return Result<std::int64_t>(std::ssize(out));
  });
  const auto expect = [&](Passage passage, std::int64_t frames, std::size_t to_read) {
    const auto ahead = resampler.ahead();
    EXPECT_EQ(ahead.passage, passage);
    EXPECT_EQ(ahead.frames, frames);
    Samples out(to_read);
    EXPECT_TRUE(resampler.read(out));
  };
  expect(Passage::silence, 4800, 800);
  expect(Passage::silence, 4000, 4000);
  expect(Passage::copy, 9600, 5000);
  expect(Passage::copy, 4600, 4600);
  expect(Passage::silence, 4800, 4800);
  expect(Passage::interpolated, 9600, 9600);
  // No frame lies in the span of a microsecond.
  expect(Passage::silence, 1, 1);
  expect(Passage::copy, 4800, 4800);
  expect(Passage::silence, MapResampler::kEndless, 10000);
  expect(Passage::silence, MapResampler::kEndless, 0);
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
