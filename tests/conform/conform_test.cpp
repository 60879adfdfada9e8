#include "kilter/conform/conform.h"

#include <gtest/gtest.h>
#include <sndfile.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <cmath>
#include <mutex>
#include <string>
#include <vector>

#include "kilter/base/file_calls.h"
#include "kilter/media/audio_file.h"
#include "support/file_size_limit.h"
#include "support/replaced_file_calls.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::conform {
namespace {

namespace fs = std::filesystem;
using test::Samples;

constexpr int kRate_hz = 48000;
constexpr std::int64_t kMixFrames = 48000;

Samples read_stem(const fs::path& file, int rate_hz = kRate_hz) {
  auto audio = media::open_audio(file);
  EXPECT_TRUE(audio) << file;
  if (!audio) return {};
  EXPECT_EQ(audio->info.channels, 1);
  EXPECT_EQ(audio->info.rate.hz, rate_hz);
  Samples sound(static_cast<std::size_t>(audio->info.claimed_length.n));
  EXPECT_EQ(audio->source->read(sound)->n, std::ssize(sound));
  return sound;
}

/// Its ends do not click, so that nothing is faded.
Samples quiet_ended_noise(std::size_t frames, std::uint32_t seed) {
  Samples sound = test::noise(frames, 0.5F, seed);
  std::fill_n(sound.begin(), 100, 0.0F);
  std::fill_n(sound.rbegin(), 100, 0.0F);
  return sound;
}

LineupTrack track_of(const std::string& name, std::int64_t frames, double start_s,
                     double drift_ppm = 0.0) {
  LineupTrack track;
  track.name = name;
  track.parts = {{name + ".wav", 1, frames}};
  track.rate_hz = kRate_hz;
  track.standing = Standing::firm;
  track.map = *TimeMap::line(start_s, drift_ppm, static_cast<double>(frames) / kRate_hz, 1.0);
  return track;
}

Lineup lineup_of(std::vector<LineupTrack> tracks) {
  Lineup lineup;
  lineup.session = "hour";
  lineup.timeline_rate_hz = kRate_hz;
  lineup.to_s = 1.0;
  lineup.mix = LineupMix{"mix.wav", kRate_hz, kMixFrames, {{0.0, 1.0, 0.0, 1.0, 0.0}}, {}};
  lineup.tracks = std::move(tracks);
  return lineup;
}

ConformOptions float_options() {
  ConformOptions options;
  options.format = media::SampleFormat::float32;
  return options;
}

class Conform : public testing::Test {
 protected:
  Result<ConformReport> run(const Lineup& lineup, const ConformOptions& options) {
    return conform(lineup, session_.path(), out_ / "stems", options);
  }
  Samples stem(const std::string& file, int rate_hz = kRate_hz) {
    return read_stem(out_ / "stems" / file, rate_hz);
  }

  test::TemporaryFolder session_;
  test::TemporaryFolder out_;
};

TEST_F(Conform, PutsEveryTrackWhereItBelongs) {
  const Samples early = quiet_ended_noise(40000, 1);
  const Samples late = quiet_ended_noise(30000, 2);
  test::write_sound(session_ / "early.wav", {early}, kRate_hz);
  test::write_sound(session_ / "late.wav", {late}, kRate_hz);
  const auto report = run(lineup_of({track_of("early", 40000, -5000.0 / kRate_hz),
                                     track_of("late", 30000, 20000.0 / kRate_hz)}),
                          float_options());
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->frames, kMixFrames);
  EXPECT_EQ(report->from_s, 0.0);
  EXPECT_EQ(report->rate_hz, kRate_hz);
  ASSERT_EQ(report->stems.size(), 2U);
  EXPECT_EQ(report->stems[0].file, "early.wav");
  EXPECT_FALSE(report->stems[0].failure);

  Samples expected_early(early.begin() + 5000, early.end());
  expected_early.resize(kMixFrames);
  EXPECT_EQ(stem("early.wav"), expected_early);
  Samples expected_late(20000, 0.0F);
  expected_late.insert(expected_late.end(), late.begin(), late.begin() + 28000);
  EXPECT_EQ(stem("late.wav"), expected_late);
}

TEST_F(Conform, TakesTheDriftOut) {
  // The recorder ran 80 ppm fast: in its own time a 1000 Hz tone sounds at 1000 / 1.00008 Hz.
  const double drift = 80e-6;
  test::write_sound(session_ / "keeper.wav",
                    {test::sine(48000, 1000.0 / (1.0 + drift), kRate_hz, 0.5)}, kRate_hz);
  ASSERT_TRUE(run(lineup_of({track_of("keeper", 48000, 0.0, 80.0)}), float_options()));
  const Samples expected = test::sine(48000, 1000.0, kRate_hz, 0.5);
  const Samples actual = stem("keeper.wav");
  ASSERT_EQ(actual.size(), expected.size());
  // Away from the ends, where the tone breaks off. 1e-6 is 120 dB below full scale.
  for (std::size_t n = 100; n < 47800; ++n) ASSERT_NEAR(actual[n], expected[n], 1e-6) << n;
}

TEST_F(Conform, JoinsPartsAndPicksTheirChannels) {
  const Samples sound = quiet_ended_noise(50000, 1);
  const Samples other = test::noise(50000, 0.5F, 2);
  const Samples first(sound.begin(), sound.begin() + 20001);
  const Samples second(sound.begin() + 20001, sound.end());
  const auto size_of = [&](const Samples& part) {
    return Samples(other.begin(), other.begin() + std::ssize(part));
  };
  test::write_sound(session_ / "1.wav", {first}, kRate_hz);
  test::write_sound(session_ / "2.wav", {size_of(second), size_of(second), second}, kRate_hz);
  LineupTrack track = track_of("keeper", 50000, 0.0);
  track.parts = {{"1.wav", 1, 20001}, {"2.wav", 3, std::ssize(second)}};
  ASSERT_TRUE(run(lineup_of({track}), float_options()));
  EXPECT_EQ(stem("keeper.wav"), Samples(sound.begin(), sound.begin() + kMixFrames));
}

TEST_F(Conform, ChannelsOfOneFileMayLieFarApart) {
  constexpr std::size_t kFrames = 1400000;
  std::vector<Samples> channels;
  std::vector<LineupTrack> together;
  std::vector<LineupTrack> apart;
  for (int i = 0; i < 3; ++i) {
    channels.push_back(quiet_ended_noise(kFrames, static_cast<std::uint32_t>(i)));
    // The last is so much later that its sound is long decoded when it is wanted.
    const std::string name = "mic-" + std::to_string(i + 1);
    apart.push_back(track_of(name, kFrames, i == 2 ? 28.0 : 0.1 * i, 20.0));
    test::write_sound(session_ / (name + ".wav"), {channels.back()}, kRate_hz);
    together.push_back(apart.back());
    together.back().parts = {{"desk.wav", i + 1, kFrames}};
  }
  test::write_sound(session_ / "desk.wav", channels, kRate_hz);
  ConformOptions options = float_options();
  options.range = StemRange::all;
  options.threads = 3;
  ASSERT_TRUE(run(lineup_of(apart), options));
  std::vector<Samples> expected;
  for (const LineupTrack& track : apart) expected.push_back(stem(track.name + ".wav"));
  const auto report = run(lineup_of(together), options);
  ASSERT_TRUE(report);
  for (std::size_t i = 0; i < together.size(); ++i) {
    ASSERT_FALSE(report->stems[i].failure) << report->stems[i].failure->what;
    EXPECT_EQ(stem(together[i].name + ".wav"), expected[i]) << together[i].name;
  }
}

TEST_F(Conform, PutsTakesOfOneVoiceOnOneStem) {
  const Samples before = quiet_ended_noise(10000, 1);
  const Samples after = quiet_ended_noise(20000, 2);
  test::write_sound(session_ / "harbour.wav", {before}, kRate_hz);
  test::write_sound(session_ / "harbour-2.wav", {after}, kRate_hz);
  LineupTrack one = track_of("harbour", 10000, 1000.0 / kRate_hz);
  LineupTrack two = track_of("harbour-2", 20000, 25000.0 / kRate_hz);
  one.voice = two.voice = "harbour";
  const auto report = run(lineup_of({one, two}), float_options());
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_EQ(report->stems[0].file, "harbour.wav");
  EXPECT_EQ(report->stems[1].file, "harbour.wav");
  EXPECT_FALSE(fs::exists(out_ / "stems" / "harbour-2.wav"));
  Samples expected(kMixFrames, 0.0F);
  std::copy(before.begin(), before.end(), expected.begin() + 1000);
  std::copy(after.begin(), after.end(), expected.begin() + 25000);
  EXPECT_EQ(stem("harbour.wav"), expected);
}

TEST_F(Conform, FadesWhatBreaksOffAndNothingElse) {
  // A second of noise of which the recorder lost 0.1 s; it begins and ends aloud, and so does the
  // mix.
  const Samples sound = test::noise(30000, 0.5F, 1);
  test::write_sound(session_ / "keeper.wav", {sound}, kRate_hz);
  test::write_sound(session_ / "mix.wav", {test::noise(48000, 0.5F, 2)}, kRate_hz);
  LineupTrack track = track_of("keeper", 30000, 0.0);
  const auto at = [](double frame) { return frame / kRate_hz; };
  track.map = *TimeMap::make({{0.0, at(12000), at(3000), at(15000), 1.0},
                              {at(12000), at(30000), at(19800), at(37800), 1.0}});
  ASSERT_TRUE(run(lineup_of({track}), float_options()));
  const Samples actual = stem("keeper.wav");
  const auto rise = [](double frames, double length) {
    return std::sin(0.5 * 3.14159265358979 * (frames + 0.5) / length);
  };
  for (std::size_t n = 0; n < actual.size(); ++n) {
    const auto frame = static_cast<double>(n);
    double expected = 0.0;
    if (n >= 3000 && n < 15000)
      expected = sound[n - 3000] * (n < 3096     ? rise(frame - 3000, 96)
                                    : n >= 14760 ? rise(14999 - frame, 240)
                                                 : 1.0);
    if (n >= 19800 && n < 37800)
      expected = sound[n - 7800] * (n < 20040    ? rise(frame - 19800, 240)
                                    : n >= 37704 ? rise(37799 - frame, 96)
                                                 : 1.0);
    ASSERT_NEAR(actual[n], expected, 1e-7) << n;
  }
  EXPECT_EQ(stem("mix.wav"), test::noise(48000, 0.5F, 2));
}

TEST_F(Conform, CopiesAMixThatLostAStretchOnItsOwnClock) {
  const Samples mix = test::noise(kMixFrames, 0.5F, 2);
  test::write_sound(session_ / "mix.wav", {mix}, kRate_hz);
  test::write_sound(session_ / "a.wav", {Samples(48000)}, kRate_hz);
  Lineup lineup = lineup_of({track_of("a", 48000, 0.0)});
  // It lost 1000.3 frames at 20000, as far as could be measured.
  const auto at = [](double frame) { return frame / kRate_hz; };
  lineup.mix->spans = {{0.0, at(20000), 0.0, at(20000), 0.0},
                       {at(20000), at(48000), at(21000.3), at(49000.3), 0.0}};
  ASSERT_TRUE(run(lineup, float_options()));
  Samples expected(mix.begin(), mix.begin() + 20000);
  expected.insert(expected.end(), 1000, 0.0F);
  expected.insert(expected.end(), mix.begin() + 20000, mix.end());
  Samples stem_of_mix = stem("mix.wav");
  expected.resize(stem_of_mix.size());
  EXPECT_EQ(stem_of_mix, expected);
}

TEST_F(Conform, DithersWhatAStemCannotHoldAndNothingElse) {
  Samples sound = quiet_ended_noise(48000, 1);
  for (float& sample : sound)
    sample = std::round(sample * 0x1p15F) * 0x1p-15F;  // 16 bits as floats
  Samples fine = sound;
  for (std::size_t n = 1000; n < 47000; ++n) fine[n] += 0.3F * 0x1p-15F;
  test::write_sound(session_ / "coarse.wav", {sound}, kRate_hz);
  test::write_sound(session_ / "fine.wav", {fine}, kRate_hz);
  test::write_sound(session_ / "mix.wav", {Samples(kMixFrames)}, kRate_hz);
  ConformOptions options;
  options.format = media::SampleFormat::pcm16;
  ASSERT_TRUE(
      run(lineup_of({track_of("coarse", 48000, 0.0), track_of("fine", 48000, 0.0)}), options));
  EXPECT_EQ(stem("coarse.wav"), sound);
  // Rounded plainly all of these would be as `sound`; three in ten are a step higher on the mean.
  const Samples dithered = stem("fine.wav");
  double sum = 0.0;
  int different = 0;
  for (std::size_t n = 1000; n < 47000; ++n) {
    sum += static_cast<double>(dithered[n] - fine[n]) * 0x1p15;
    different += dithered[n] != sound[n];
  }
  EXPECT_GT(different, 10000);
  EXPECT_NEAR(sum / 46000.0, 0.0, 5.0 * 0.5 / std::sqrt(46000.0));
}

TEST_F(Conform, TurnsAnInvertedTrackRightWayUp) {
  Samples sound = quiet_ended_noise(48000, 1);
  test::write_sound(session_ / "keeper.wav", {sound}, kRate_hz);
  LineupTrack track = track_of("keeper", 48000, 0.0);
  track.inverted = true;
  ASSERT_TRUE(run(lineup_of({track}), float_options()));
  for (float& sample : sound) sample = -sample;
  EXPECT_EQ(stem("keeper.wav"), sound);
}

TEST_F(Conform, MakesNoStemForTracksWithoutAPlaceOrARole) {
  test::write_sound(session_ / "keeper.wav", {Samples(48000, 0.1F)}, kRate_hz);
  LineupTrack ignored = track_of("ignored", 48000, 0.0);
  ignored.role = Role::ignore;
  LineupTrack unplaced = track_of("unplaced", 48000, 0.0);
  unplaced.map.reset();
  const auto report =
      run(lineup_of({unplaced, track_of("keeper", 48000, 0.0), ignored}), float_options());
  ASSERT_TRUE(report);
  ASSERT_EQ(report->stems.size(), 3U);
  EXPECT_TRUE(report->stems[0].file.empty());
  EXPECT_FALSE(report->stems[0].failure);
  EXPECT_EQ(report->stems[1].file, "keeper.wav");
  EXPECT_TRUE(report->stems[2].file.empty());
  EXPECT_EQ(std::distance(fs::directory_iterator(out_ / "stems"), {}), 1);
}

struct Range {
  const char* name;
  StemRange range;
  double rate_hz;
  double from_s;
  std::int64_t frames;
};

void PrintTo(const Range& row, std::ostream* out) { *out << row.name; }

class ConformRange : public Conform, public testing::WithParamInterface<Range> {};

TEST_P(ConformRange, GivesAllStemsTheSameStartAndLength) {
  const Range& row = GetParam();
  // Together they cover -0.25 s to 1.5 s, and share 0.125 s to 0.75 s.
  test::write_sound(session_ / "a.wav", {test::noise(48000, 0.5F, 1)}, kRate_hz);
  test::write_sound(session_ / "b.wav", {test::noise(66000, 0.5F, 2)}, kRate_hz);
  ConformOptions options;
  options.range = row.range;
  options.rate_hz = row.rate_hz;
  const auto report =
      run(lineup_of({track_of("a", 48000, -0.25), track_of("b", 66000, 0.125)}), options);
  ASSERT_TRUE(report) << report.error().what;
  EXPECT_DOUBLE_EQ(report->from_s, row.from_s);
  EXPECT_EQ(report->frames, row.frames);
  const int rate_hz = row.rate_hz == 0.0 ? kRate_hz : static_cast<int>(row.rate_hz);
  for (const char* file : {"a.wav", "b.wav"})
    EXPECT_EQ(std::ssize(stem(file, rate_hz)), row.frames);
}

INSTANTIATE_TEST_SUITE_P(
    All, ConformRange,
    testing::Values(Range{"Mix", StemRange::mix, 0.0, 0.0, 48000},
                    Range{"All", StemRange::all, 0.0, -0.25, 84000},
                    Range{"Shared", StemRange::shared, 0.0, 0.125, 30000},
                    Range{"MixAt44100", StemRange::mix, 44100.0, 0.0, 44100},
                    Range{"AllAt96000", StemRange::all, 96000.0, -0.25, 168000},
                    // 0.125 s is frame 5512.5: outwards it would hold half a frame of nothing.
                    Range{"SharedAt44100LiesInside", StemRange::shared, 44100.0, 5513.0 / 44100.0,
                          27562}),
    [](const auto& each) { return each.param.name; });

TEST_F(Conform, AnUnreadableTrackStopsNoOther) {
  test::write_sound(session_ / "good.wav", {Samples(48000, 0.1F)}, kRate_hz);
  test::write_sound(session_ / "short.wav", {Samples(20000, 0.1F)}, kRate_hz);
  test::write_sound(session_ / "slow.wav", {Samples(48000, 0.1F)}, 44100);
  test::write_text(session_ / "text.wav", "The lamp was lit at dusk.");
  LineupTrack channel = track_of("good", 48000, 0.0);
  channel.name = "channel";
  channel.parts[0].channel = 2;
  const auto report = run(lineup_of({track_of("missing", 48000, 0.0), track_of("text", 48000, 0.0),
                                     track_of("short", 48000, 0.0), track_of("slow", 48000, 0.0),
                                     channel, track_of("good", 48000, 0.0)}),
                          float_options());
  ASSERT_TRUE(report) << report.error().what;
  const std::vector<std::string> expected{
      "there is no such file", "not a format we know",
      "it is not the file that was aligned: it ends 28000 frames early",
      "it is not the file that was aligned: its sample rate is another",
      "it is not the file that was aligned: it has no channel 2"};
  for (std::size_t i = 0; i < expected.size(); ++i) {
    ASSERT_TRUE(report->stems[i].failure) << i;
    EXPECT_EQ(report->stems[i].failure->kind, ErrorKind::unreadable);
    EXPECT_EQ(report->stems[i].failure->what.find(expected[i]), 0U)
        << report->stems[i].failure->what;
    EXPECT_TRUE(report->stems[i].file.empty());
  }
  EXPECT_EQ(report->stems[5].file, "good.wav");
  EXPECT_EQ(std::distance(fs::directory_iterator(out_ / "stems"), {}), 1);
}

TEST_F(Conform, ADamagedFileIsConformedAsFarAsItWasAligned) {
  const Samples sound = quiet_ended_noise(96000, 1);
  test::write_sound(session_ / "cut.flac", {sound}, kRate_hz, SF_FORMAT_FLAC | SF_FORMAT_PCM_24);
  fs::resize_file(session_ / "cut.flac", fs::file_size(session_ / "cut.flac") * 6 / 10);
  LineupTrack track = track_of("cut", 40960, 0.0);
  track.parts[0].file = "cut.flac";
  const auto report = run(lineup_of({track}), float_options());
  ASSERT_TRUE(report);
  ASSERT_FALSE(report->stems[0].failure) << report->stems[0].failure->what;
  const Samples actual = stem("cut.wav");
  // Its end is no quiet one and so is faded over 2 ms.
  for (std::size_t n = 0; n < 40960 - 96; ++n) ASSERT_NEAR(actual[n], sound[n], 0x1p-23) << n;
  for (std::size_t n = 40960; n < actual.size(); ++n) ASSERT_EQ(actual[n], 0.0F) << n;
}

TEST_F(Conform, CountsClippedSamples) {
  Samples sound(48000, 0.25F);
  sound[100] = 1.5F;
  sound[200] = -3.0F;
  test::write_sound(session_ / "keeper.wav", {sound}, kRate_hz);
  const auto report = run(lineup_of({track_of("keeper", 48000, 0.0)}), {});
  ASSERT_TRUE(report);
  EXPECT_EQ(report->stems[0].clipped_samples, 2);
}

TEST_F(Conform, TurnsTheLowestSampleIntoTheHighestAndCallsThatNoClipping) {
  Samples sound = quiet_ended_noise(48000, 1);
  for (float& sample : sound) sample = std::round(sample * 0x1p23F) * 0x1p-23F;
  sound[1000] = -1.0F;  // +1 is one step more than 24 bits hold
  test::write_sound(session_ / "keeper.wav", {sound}, kRate_hz, SF_FORMAT_WAV | SF_FORMAT_PCM_24);
  auto track = track_of("keeper", 48000, 0.0);
  track.inverted = true;
  const auto report = run(lineup_of({track}), {});
  ASSERT_TRUE(report);
  EXPECT_EQ(report->stems[0].clipped_samples, 0);
  for (float& sample : sound) sample = -sample;
  sound[1000] = 1.0F - 0x1p-23F;
  EXPECT_EQ(stem("keeper.wav"), sound);
}

TEST_F(Conform, DithersNoCopyBecauseOfFullScale) {
  Samples sound = quiet_ended_noise(48000, 1);
  for (float& sample : sound) sample = std::round(sample * 0x1p15F) * 0x1p-15F;
  sound[1000] = -1.0F;
  ConformOptions options;
  options.format = media::SampleFormat::pcm16;
  // Either file may hold more than 16 bits do; nothing in it does.
  for (const int encoding : {SF_FORMAT_FLOAT, SF_FORMAT_PCM_24}) {
    test::write_sound(session_ / "keeper.wav", {sound}, kRate_hz, SF_FORMAT_WAV | encoding);
    auto track = track_of("keeper", 48000, 0.0);
    track.inverted = true;
    const auto report = run(lineup_of({track}), options);
    ASSERT_TRUE(report);
    EXPECT_EQ(report->stems[0].clipped_samples, 0);
    Samples expected = sound;
    for (float& sample : expected) sample = -sample;
    expected[1000] = 1.0F - 0x1p-15F;
    EXPECT_EQ(stem("keeper.wav"), expected);
  }
}

TEST_F(Conform, LeavesTheMixItsNameWhateverATrackIsCalled) {
  const Samples mix = quiet_ended_noise(48000, 1);
  const Samples guest = quiet_ended_noise(48000, 2);
  test::write_sound(session_ / "mix.wav", {mix}, kRate_hz);
  test::write_sound(session_ / "MIX.flac", {guest}, kRate_hz, SF_FORMAT_FLAC | SF_FORMAT_PCM_24);
  Lineup lineup = lineup_of({track_of("MIX", 48000, 0.0), track_of("MIX-2", 48000, 0.0)});
  for (LineupTrack& track : lineup.tracks) track.parts[0].file = "MIX.flac";
  const auto report = run(lineup, float_options());
  ASSERT_TRUE(report) << report.error().what;
  ASSERT_TRUE(report->mix);
  EXPECT_EQ(report->mix->file, "mix.wav");
  EXPECT_EQ(report->stems[0].file, "MIX-2.wav");
  EXPECT_EQ(report->stems[1].file, "MIX-2-2.wav");
  EXPECT_EQ(stem("mix.wav"), mix);
  const StemFiles files = stem_files(lineup);
  EXPECT_EQ(files.mix, "mix.wav");
  EXPECT_EQ(files.tracks, (std::vector<fs::path>{"MIX-2.wav", "MIX-2-2.wav"}));
}

TEST_F(Conform, GivesTheSameBytesForAnyThreadCount) {
  std::vector<LineupTrack> tracks;
  for (int i = 0; i < 5; ++i) {
    const std::string name(1, static_cast<char>('a' + i));
    test::write_sound(session_ / (name + ".wav"),
                      {test::noise(48000, 0.5F, static_cast<std::uint32_t>(i))}, kRate_hz);
    tracks.push_back(track_of(name, 48000, 0.01 * i + 1e-5, 20.0 * i));
  }
  std::vector<std::string> bytes;
  for (const int threads : {1, 4}) {
    ConformOptions options;
    options.threads = threads;
    const fs::path folder = out_ / std::to_string(threads);
    ASSERT_TRUE(conform(lineup_of(tracks), session_.path(), folder, options));
    std::string all;
    for (const LineupTrack& track : tracks) all += test::read_text(folder / (track.name + ".wav"));
    bytes.push_back(all);
  }
  EXPECT_GT(bytes[0].size(), 5U * 3U * 48000U);
  EXPECT_EQ(bytes[0], bytes[1]);
}

TEST_F(Conform, TellsItsProgressUpToTheEnd) {
  test::write_sound(session_ / "a.wav", {Samples(48000, 0.1F)}, kRate_hz);
  std::vector<double> told;
  ConformOptions options;
  options.threads = 2;
  options.progress = [&](double done) { told.push_back(done); };
  ASSERT_TRUE(
      run(lineup_of({track_of("a", 48000, 0.0), track_of("missing", 48000, 0.0)}), options));
  EXPECT_TRUE(std::is_sorted(told.begin(), told.end()));
  EXPECT_GE(told.size(), 3U);
  EXPECT_DOUBLE_EQ(told.back(), 1.0);
}

TEST_F(Conform, StopsWhenAsked) {
  test::write_sound(session_ / "a.wav", {Samples(48000, 0.1F)}, kRate_hz);
  std::atomic<bool> stop{false};
  ConformOptions options;
  options.stop = &stop;
  options.progress = [&](double) { stop = true; };
  const auto report = run(lineup_of({track_of("a", 48000, 0.0)}), options);
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().kind, ErrorKind::interrupted);
  EXPECT_TRUE(fs::is_empty(out_ / "stems"));
}

TEST_F(Conform, AFullDiskEndsItWithoutALastingPart) {
  test::write_sound(session_ / "a.wav", {Samples(48000, 0.1F)}, kRate_hz);
  test::write_sound(session_ / "b.wav", {Samples(48000, 0.1F)}, kRate_hz);
  ConformOptions options;
  options.threads = 2;
  const test::FileSizeLimit limit(60000);
  const auto report =
      run(lineup_of({track_of("a", 48000, 0.0), track_of("b", 48000, 0.0)}), options);
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().kind, ErrorKind::cannot_write);
  EXPECT_TRUE(fs::is_empty(out_ / "stems"));
}

/// How many files are open at a time.
class OpenFiles : public FileCalls {
 public:
  int open(const char* path, int flags, mode_t mode) override {
    const int descriptor = FileCalls::open(path, flags, mode);
    const std::lock_guard lock(mutex_);
    if (descriptor >= 0) most = std::max(most, ++count_);
    return descriptor;
  }
  int close(int descriptor) override {
    const std::lock_guard lock(mutex_);
    --count_;
    return FileCalls::close(descriptor);
  }

  int most{0};

 private:
  std::mutex mutex_;
  int count_{0};
};

TEST_F(Conform, KeepsFewFilesOpenHoweverManyStemsThereAre) {
  constexpr int kStems = 60;
  std::vector<LineupTrack> tracks;
  for (int i = 0; i < kStems; ++i) {
    const std::string name = "t" + std::to_string(i);
    test::write_sound(session_ / (name + ".wav"), {Samples(4800, 0.1F)}, kRate_hz);
    tracks.push_back(track_of(name, 4800, 0.0));
  }
  OpenFiles calls;
  const test::ReplacedFileCalls replaced(calls);
  ConformOptions options;
  options.threads = 2;
  const auto report = run(lineup_of(tracks), options);
  ASSERT_TRUE(report) << report.error().what;
  for (const Stem& stem : report->stems) EXPECT_TRUE(fs::exists(out_ / "stems" / stem.file));
  EXPECT_EQ(std::ssize(report->stems), kStems);
  EXPECT_LE(calls.most, 24);
}

/// Of a disk that loses what it took, from so many files on.
class SyncsThatFail : public FileCalls {
 public:
  explicit SyncsThatFail(int good) : good_(good) {}
  int sync(int descriptor) override {
    if (good_-- > 0) return FileCalls::sync(descriptor);
    errno = EIO;
    return -1;
  }

 private:
  std::atomic<int> good_;
};

TEST_F(Conform, ADiskThatLosesTheLastOfManyStemsIsOneErrorOfWriting) {
  std::vector<LineupTrack> tracks;
  for (const char* name : {"a", "b", "c"}) {
    test::write_sound(session_ / (std::string(name) + ".wav"), {Samples(4800, 0.1F)}, kRate_hz);
    tracks.push_back(track_of(name, 4800, 0.0));
  }
  for (int good = 0; good < 3; ++good) {
    SyncsThatFail calls(good);
    const test::ReplacedFileCalls replaced(calls);
    const fs::path folder = out_ / std::to_string(good);
    const auto report = conform(lineup_of(tracks), session_.path(), folder, {});
    ASSERT_FALSE(report);
    EXPECT_EQ(report.error().kind, ErrorKind::cannot_write);
    EXPECT_EQ(report.error().file, folder / (tracks[static_cast<std::size_t>(good)].name + ".wav"));
    for (const auto& entry : fs::directory_iterator(folder))
      EXPECT_NE(entry.path().extension(), ".part") << entry;
  }
}

TEST_F(Conform, AFolderThatCannotBeMadeIsAnErrorOfWriting) {
  test::write_text(out_ / "stems", "a file");
  const auto report = run(lineup_of({track_of("a", 48000, 0.0)}), {});
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().kind, ErrorKind::cannot_write);
}

struct Impossible {
  const char* name;
  ErrorKind kind;
  double rate_hz;
  StemRange range;
  double second_start_s;
};

void PrintTo(const Impossible& row, std::ostream* out) { *out << row.name; }

class ImpossibleConform : public Conform, public testing::WithParamInterface<Impossible> {};

TEST_P(ImpossibleConform, IsRefusedBeforeAnythingIsWritten) {
  const Impossible& row = GetParam();
  ConformOptions options;
  options.rate_hz = row.rate_hz;
  options.range = row.range;
  const auto report = run(
      lineup_of({track_of("a", 48000, 0.0), track_of("b", 48000, row.second_start_s)}), options);
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().kind, row.kind);
  EXPECT_FALSE(report.error().next_step.empty());
  EXPECT_FALSE(fs::exists(out_ / "stems"));
}

INSTANTIATE_TEST_SUITE_P(
    All, ImpossibleConform,
    testing::Values(Impossible{"ABrokenRate", ErrorKind::bad_command, 44100.5, StemRange::mix, 0.0},
                    Impossible{"TooLowARate", ErrorKind::bad_command, 10.0, StemRange::mix, 0.0},
                    Impossible{"NoSharedTime", ErrorKind::no_input, 0.0, StemRange::shared, 2.0},
                    Impossible{"AnAbsurdLength", ErrorKind::no_input, 0.0, StemRange::all, 9e8}),
    [](const auto& each) { return each.param.name; });

TEST_F(Conform, TellsBeforeTheWorkThatTheDiskHasNotTheRoom) {
  constexpr double kStart_s = 1.8e6;
  const double stem_bytes = 4.0 * kRate_hz * kStart_s;
  const auto room = static_cast<double>(fs::space(out_.path()).available);
  std::vector<LineupTrack> tracks;
  for (int i = 0; i <= static_cast<int>(room / stem_bytes) + 1; ++i)
    tracks.push_back(track_of("mic-" + std::to_string(i), 48000, kStart_s));
  test::write_sound(session_ / "mix.wav", {Samples(kMixFrames)}, kRate_hz);
  ConformOptions options = float_options();
  options.range = StemRange::all;
  const auto report = run(lineup_of(tracks), options);
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().kind, ErrorKind::cannot_write);
  EXPECT_NE(report.error().what.find("GB left"), std::string::npos) << report.error().what;
  EXPECT_TRUE(fs::is_empty(out_ / "stems"));
}

TEST_F(Conform, AKindOfFileThatCannotHoldAStemIsRefusedBeforeTheWork) {
  test::write_sound(session_ / "mix.wav", std::vector<Samples>(9, Samples(kMixFrames)), kRate_hz);
  test::write_sound(session_ / "a.wav", {Samples(kMixFrames)}, kRate_hz);
  ConformOptions options;
  options.container = media::Container::flac;
  const auto report = run(lineup_of({track_of("a", 48000, 0.0)}), options);
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().kind, ErrorKind::bad_command);
  EXPECT_EQ(report.error().file, "mix.flac");
  EXPECT_TRUE(fs::is_empty(out_ / "stems"));
}

TEST_F(Conform, WithoutAPlacedTrackThereIsNothingToMake) {
  const auto report = run(lineup_of({}), {});
  ASSERT_FALSE(report);
  EXPECT_EQ(report.error().kind, ErrorKind::no_input);
}

}  // namespace
}  // namespace kilter::conform
