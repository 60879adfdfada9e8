#include "kilter/sync/unexplained.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cmath>
#include <memory>
#include <numbers>
#include <string>

#include "simulator/simulator.h"
#include "support/reduce.h"

namespace kilter::sync {
namespace {

constexpr double kLength_s = 60.0;

/// A simulated session whose tracks lie where the truth says.
struct Scene {
  simulator::Session session;
  std::unique_ptr<MemorySignal> mix;
  std::optional<TimeMap> mix_map;
  std::vector<std::unique_ptr<MemorySignal>> signals;
  std::vector<TimeMap> maps;

  std::vector<MappedTrack> tracks(int without = -1) const {
    std::vector<MappedTrack> all;
    for (std::size_t i = 0; i < signals.size(); ++i)
      if (static_cast<int>(i) != without) all.push_back({signals[i].get(), &maps[i]});
    return all;
  }
  Unexplained search(const std::vector<MappedTrack>& of, int threads = 1) const {
    auto found = find_unexplained({mix.get(), &*mix_map}, of, {.threads = threads});
    EXPECT_TRUE(found);
    return *found;
  }
};

/// `extra` is added to the mix, relative to its mean level.
Scene make_scene(simulator::SessionSpec spec, const std::vector<float>& extra = {}) {
  for (auto& recorder : spec.recorders) recorder.start_s = std::min(recorder.start_s, -1.0);
  Scene scene;
  auto made = simulator::simulate(spec, simulator::SyntheticVoices(spec.seed), 2);
  EXPECT_TRUE(made);
  scene.session = *std::move(made);
  std::vector<float> mix = scene.session.mix;
  double square = 0.0;
  for (const float sample : mix) square += static_cast<double>(sample * sample);
  const auto level = static_cast<float>(std::sqrt(square / static_cast<double>(mix.size())));
  for (std::size_t i = 0; i < std::min(mix.size(), extra.size()); ++i) mix[i] += level * extra[i];
  scene.mix = test::reduce(mix, scene.session.mix_rate_hz);
  scene.mix_map = *TimeMap::line(0.0, 0.0, spec.length_s, 0.0);
  for (const auto& track : scene.session.tracks) {
    const double length_s = static_cast<double>(track.samples.size()) / track.clock.rate_hz;
    scene.signals.push_back(test::reduce(track.samples, track.clock.rate_hz));
    scene.maps.push_back(
        *TimeMap::make({{0.0, length_s, track.line_of(0.0), track.line_of(length_s), 0.0}}));
  }
  return scene;
}

double shared_s(const std::vector<Stretch>& stretches, double from_s, double to_s) {
  double sum = 0.0;
  for (const Stretch& stretch : stretches)
    sum += std::max(0.0, std::min(to_s, stretch.line_to_s) - std::max(from_s, stretch.line_from_s));
  return sum;
}

/// Chords of sawtooth-like notes that change every two seconds, mean level about 1.
std::vector<float> chords(double from_s, double to_s, double rate_hz) {
  std::vector<float> samples(static_cast<std::size_t>(to_s * rate_hz), 0.0F);
  constexpr double kRoots_hz[] = {220.0, 174.6, 261.6, 196.0};
  for (auto i = static_cast<std::size_t>(from_s * rate_hz); i < samples.size(); ++i) {
    const double t = static_cast<double>(i) / rate_hz;
    const double root_hz = kRoots_hz[static_cast<std::size_t>(t / 2.0) % 4];
    double sum = 0.0;
    for (const double interval : {0.5, 1.0, 1.25, 1.5})
      for (int harmonic = 1; harmonic <= 8; ++harmonic)
        sum += std::sin(2.0 * std::numbers::pi * root_hz * interval * harmonic * t + harmonic) /
               harmonic;
    samples[i] = static_cast<float>(0.6 * sum);
  }
  return samples;
}

struct MixKind {
  const char* name;
  simulator::Coding coding;
  double gain_riding_db;
  double duck_db;
  bool streams;
};
class UnexplainedThrough : public testing::TestWithParam<MixKind> {};

simulator::SessionSpec spec_of(const MixKind& kind, std::uint64_t seed) {
  auto spec = simulator::hybrid_session(seed, kLength_s, 2, 2);
  spec.mix.coding = kind.coding;
  spec.mix.gain_riding_db = kind.gain_riding_db;
  spec.mix.duck_db = kind.duck_db;
  for (auto& person : spec.people)
    if (person.remote && kind.streams) {
      person.stream.coding = {simulator::Codec::opus, 16};
      person.stream.gate_db = -30.0;
      person.stream.gain_riding_db = 6.0;
    }
  return spec;
}

TEST_P(UnexplainedThrough, NothingIsMissingInACompleteSessionAndAGuestIsWhenHisFileIs) {
  const Scene scene = make_scene(spec_of(GetParam(), 12));
  const Unexplained complete = scene.search(scene.tracks());
  EXPECT_TRUE(complete.voice.empty());
  EXPECT_TRUE(complete.music.empty());
  // The null goes down to the worst codec's own noise.
  EXPECT_LT(complete.typical_depth_db, -12.0);

  constexpr int kMissing = 2;
  const Unexplained found = scene.search(scene.tracks(kMissing));
  double talks_s = 0.0;
  double heard_s = 0.0;
  for (const auto& utterance : scene.session.talk) {
    if (utterance.person != kMissing) continue;
    const double from_s = std::max(0.0, utterance.line_from_s);
    const double to_s = std::min(kLength_s, utterance.line_from_s + utterance.length_s);
    if (from_s >= to_s) continue;
    talks_s += to_s - from_s;
    heard_s += shared_s(found.voice, from_s, to_s);
  }
  ASSERT_GT(talks_s, 8.0);
  EXPECT_GT(heard_s, 0.6 * talks_s);  // others talk over him, and his own pauses are nobody's
  // Half seconds at the ends of his turns hold some of others' time.
  EXPECT_LT(found.voice_s - heard_s, 0.2 * talks_s);
  EXPECT_LT(found.music_s, 0.1 * found.voice_s);
}

INSTANTIATE_TEST_SUITE_P(
    Mixes, UnexplainedThrough,
    testing::Values(MixKind{"Lossless", {}, 0.0, 0.0, false},
                    MixKind{"Mp3WithGainRiding", {simulator::Codec::mp3, 128}, 6.0, 0.0, false},
                    MixKind{
                        "OpusStreamsAndDucking", {simulator::Codec::opus, 96}, 3.0, -12.0, true}),
    [](const auto& each) { return each.param.name; });

TEST(Unexplained, MusicThatStandsInTheMixAloneIsToldFromAVoice) {
  const auto music = chords(20.0, 40.0, 48000.0);
  const Scene scene = make_scene(simulator::hybrid_session(13, kLength_s, 2, 1), music);
  const Unexplained found = scene.search(scene.tracks());
  EXPECT_TRUE(found.voice.empty());
  EXPECT_GT(shared_s(found.music, 20.0, 40.0), 8.0);  // the talk on top of it is explained
  EXPECT_LE(found.music_s, shared_s(found.music, 20.0, 40.0) + 1.0);
}

/// Six sentences of a voice made by rule, at the analysis rate, with pauses between.
std::vector<float> sentences(int person, double first_s) {
  std::vector<float> sound(static_cast<std::size_t>(kLength_s * simulator::kWorldRateHz), 0.0F);
  const simulator::SyntheticVoices voices(18);
  for (int i = 0; i < 6; ++i) {
    const auto said = voices.utterance(person, i, 4 * simulator::kWorldRateHz);
    const auto at = static_cast<std::ptrdiff_t>((first_s + 9.0 * i) * simulator::kWorldRateHz);
    for (std::size_t n = 0; n < said.size() && at + std::ssize(said) < std::ssize(sound); ++n)
      sound[static_cast<std::size_t>(at) + n] = 0.05F * said[n];
  }
  const auto reduced = test::reduce(sound, simulator::kWorldRateHz);
  std::vector<float> samples(static_cast<std::size_t>(reduced->frames()));
  EXPECT_TRUE(reduced->read(0, samples));
  return samples;
}

TEST(Unexplained, AGuestWhoseStreamIsLateForASecondOrTwoIsExplained) {
  const std::vector<float> keeper = sentences(0, 0.5);
  const std::vector<float> guest = sentences(1, 5.0);
  std::vector<float> mix = keeper;
  for (std::size_t i = 1000; i < mix.size(); ++i) {
    // Each sentence of 4 s: its second and third second are heard 45 ms late.
    const double said_s = std::fmod(static_cast<double>(i) / kAnalysisRateHz + 4.0, 9.0);
    const double inside = std::clamp(std::min(said_s - 1.0, 3.0 - said_s) / 0.1, 0.0, 1.0);
    const double late = 0.045 * kAnalysisRateHz * inside;
    const auto whole = static_cast<std::size_t>(late);
    const auto part = static_cast<float>(late - static_cast<double>(whole));
    mix[i] += (1.0F - part) * guest[i - whole] + part * guest[i - whole - 1];
  }
  const MemorySignal mix_signal(mix);
  const MemorySignal keeper_signal(keeper);
  const MemorySignal guest_signal(guest);
  const TimeMap map = *TimeMap::line(0.0, 0.0, kLength_s, 0.0);
  const auto search = [&](const std::vector<MappedTrack>& tracks) {
    auto found = find_unexplained({&mix_signal, &map}, tracks, {});
    EXPECT_TRUE(found);
    return found->voice_s;
  };
  EXPECT_EQ(search({{&keeper_signal, &map}, {&guest_signal, &map}}), 0.0);
  EXPECT_GT(search({{&keeper_signal, &map}}), 15.0);  // of his 24 s
}

TEST(Unexplained, WhereNoRecorderRanNothingIsMissing) {
  Scene scene = make_scene(simulator::hybrid_session(15, kLength_s, 2, 0));
  for (TimeMap& map : scene.maps) {
    const Span whole = map.spans()[0];
    const double from_s = whole.from_s + (30.0 - whole.line_from_s) / whole.rate();
    map = *TimeMap::make({{from_s, whole.to_s, 30.0, whole.line_to_s, 0.0}});
  }
  const Unexplained found = scene.search(scene.tracks());
  EXPECT_TRUE(found.voice.empty());
  ASSERT_GT(found.halves.size(), 80U);
  EXPECT_EQ(found.halves[30].kind, HalfKind::uncovered);
  EXPECT_NE(found.halves[80].kind, HalfKind::uncovered);
}

TEST(Unexplained, IsTheSameForAnyNumberOfThreads) {
  const Scene scene = make_scene(simulator::hybrid_session(16, kLength_s, 1, 2));
  const Unexplained one = scene.search(scene.tracks(1), 1);
  const Unexplained three = scene.search(scene.tracks(1), 3);
  ASSERT_EQ(one.halves.size(), three.halves.size());
  for (std::size_t h = 0; h < one.halves.size(); ++h) {
    EXPECT_EQ(one.halves[h].kind, three.halves[h].kind);
    EXPECT_EQ(one.halves[h].depth_db, three.halves[h].depth_db);
    EXPECT_EQ(one.halves[h].mix_db, three.halves[h].mix_db);
  }
}

TEST(Unexplained, GivesUpWhenAsked) {
  const Scene scene = make_scene(simulator::hybrid_session(17, 20.0, 1, 1));
  const std::atomic<bool> stop{true};
  const auto found =
      find_unexplained({scene.mix.get(), &*scene.mix_map}, scene.tracks(), {.stop = &stop});
  ASSERT_FALSE(found);
  EXPECT_EQ(found.error().kind, ErrorKind::interrupted);
}

}  // namespace
}  // namespace kilter::sync
