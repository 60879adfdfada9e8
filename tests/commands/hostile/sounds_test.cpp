// Sound that proves nothing: no placing of it may be called firm.
#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "stage.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;
using test::align;
using test::batch;
using test::check;
using test::conform;
using test::HostileCase;
using test::Samples;
using test::Stage;
using test::survey;

constexpr int kRate_hz = Stage::kRate_hz;
constexpr std::size_t kFrames = std::size_t{40} * kRate_hz;

/// Starts with the mix and runs on its clock.
double on_the_mix(double track_s) { return track_s; }

Samples filled(float value, std::size_t frames = kFrames) { return Samples(frames, value); }

/// Chords of four notes that change twice a second, the same for the same seed.
Samples music(std::uint32_t seed) {
  Samples samples(kFrames);
  const Samples lot = test::noise(4000, 1.0F, seed);
  for (std::size_t i = 0; i < kFrames; ++i) {
    const std::size_t beat = i / (kRate_hz / 2);
    const double t = static_cast<double>(i % (kRate_hz / 2)) / kRate_hz;
    double sum = 0.0;
    for (std::size_t note = 0; note < 4; ++note) {
      const double half_tones = std::round(12.0 * static_cast<double>(lot[(beat % 8) * 4 + note]));
      sum += std::sin(2.0 * M_PI * 440.0 * std::exp2(half_tones / 12.0) * t);
    }
    samples[i] = static_cast<float>(0.1 * sum * std::exp(-4.0 * t));
  }
  return samples;
}

/// A click every half second, and noise of its own.
Samples clicks(std::uint32_t seed, std::size_t offset) {
  Samples samples = test::noise(kFrames, 0.001F, seed);
  for (std::size_t i = offset; i + 40 < kFrames; i += kRate_hz / 2)
    for (std::size_t j = 0; j < 40; ++j)
      samples[i + j] +=
          0.5F * std::exp(-0.1F * static_cast<float>(j)) * (j % 2 == 0 ? 1.0F : -1.0F);
  return samples;
}

Samples with(Samples samples, const Samples& more, float gain) {
  for (std::size_t i = 0; i < std::min(samples.size(), more.size()); ++i)
    samples[i] += gain * more[i];
  return samples;
}

Samples repeated(const Samples& piece, std::size_t times) {
  Samples all;
  for (std::size_t i = 0; i < times; ++i) all.insert(all.end(), piece.begin(), piece.end());
  return all;
}

/// Every n-th sample is `value`.
Samples spoilt(Samples samples, float value, std::size_t every) {
  for (std::size_t i = 0; i < samples.size(); i += every) samples[i] = value;
  return samples;
}

void write_mix_and(Stage& stage, const Samples& mix, const Samples& keeper, const Samples& mate) {
  stage.sound("mixdown.wav", mix);
  stage.sound("keeper.wav", keeper);
  stage.sound("mate.wav", mate);
}

const auto kNaN = std::numeric_limits<float>::quiet_NaN();
const auto kInf = std::numeric_limits<float>::infinity();

std::vector<HostileCase> beside_talk() {
  const auto extra = [](const char* name, auto samples, const char* says) {
    return HostileCase{
        name,
        [=](Stage& stage) {
          stage.talk();
          stage.sound("z.wav", samples());
        },
        {survey({0, 1}, ""), align({0, 1}, says), conform({0, 1}, ""), check({0, 1}, "")}};
  };
  std::vector<HostileCase> cases{
      extra(
          "NotANumber", [] { return filled(kNaN); }, "are no numbers"),
      extra(
          "Infinite", [] { return filled(kInf); }, "are no numbers"),
      extra(
          "BeyondAllSense", [] { return filled(3e38F); }, "are no numbers"),
      extra(
          "NoiseWithNaNs", [] { return spoilt(test::noise(kFrames, 0.3F, 5), kNaN, 3); },
          "are no numbers"),
      extra(
          "Constant", [] { return filled(0.9F); }, "One constant value"),
      extra(
          "Silent", [] { return filled(0.0F); }, "Nothing but silence"),
      extra(
          "Noise", [] { return test::noise(kFrames, 0.3F, 9); }, "Only noise at"),
      extra(
          "ATone", [] { return test::sine(kFrames, 1000.0, kRate_hz, 0.5); },
          "z: No place in the mix fits"),
      extra(
          "Music", [] { return music(3); }, "z: No place in the mix fits"),
      extra(
          "Clicks", [] { return clicks(4, 777); }, "z: No place in the mix fits"),
      extra(
          "OneSample", [] { return filled(0.5F, 1); }, "Only 0 ms long"),
      extra(
          "TenMilliseconds", [] { return test::noise(160, 0.3F, 3); }, "Only 10 ms long"),
  };
  cases.push_back({"TheMixOnceMore",
                   [](Stage& stage) {
                     stage.talk();
                     fs::copy_file(stage.show() / "mixdown.wav", stage.show() / "z.wav");
                     stage.belongs("z", on_the_mix);
                   },
                   {align({0, 1}, ""), conform({0, 1}, ""), check({0, 1}, "")}});
  cases.push_back({"TheMixTwiceByName",
                   [](Stage& stage) {
                     stage.talk();
                     fs::copy_file(stage.show() / "mixdown.wav", stage.show() / "mixdown-2.wav");
                     stage.belongs("mixdown-2", on_the_mix);
                     stage.belongs("mixdown", on_the_mix);
                   },
                   {survey({0, 1}, ""), align({0, 1, 3}, "")}});
  cases.push_back(
      {"ATrackOfAnotherSession",
       [](Stage& stage) {
         stage.talk();
         const auto other = test::talk_of(77);
         stage.sound("z.wav", other.tracks.back().samples);
         stage.sound("y.wav", other.tracks.front().samples);
       },
       {align({1}, "z: No place in the mix fits"), conform({1}, ""), check({0, 1}, "")}});
  cases.push_back({"TheMixOfAnotherSession",
                   [](Stage& stage) {
                     stage.talk();
                     stage.sound("z.wav", test::talk_of(77).mix);
                   },
                   {align({1}, "")}});
  cases.push_back({"ATrackBackwards",
                   [](Stage& stage) {
                     stage.talk();
                     auto samples = stage.talked().tracks.back().samples;
                     std::reverse(samples.begin(), samples.end());
                     stage.sound("z.wav", samples);
                   },
                   {align({1}, ""), conform({1}, ""), check({0, 1}, "")}});
  return cases;
}

std::vector<HostileCase> whole_sessions() {
  const auto session = [](const char* name, auto make, std::vector<int> exits) {
    return HostileCase{
        name, make, {survey({0, 1}, ""), align(exits, ""), conform(exits, ""), batch({0, 1}, "")}};
  };
  return {
      session("AllSilent",
              [](Stage& stage) { write_mix_and(stage, filled(0), filled(0), filled(0)); }, {1, 3}),
      session("AllConstant",
              [](Stage& stage) { write_mix_and(stage, filled(0.5F), filled(0.3F), filled(0.2F)); },
              {1, 3}),
      session("AllNotANumber",
              [](Stage& stage) { write_mix_and(stage, filled(kNaN), filled(kNaN), filled(kNaN)); },
              {1, 3}),
      session("AllInfinite",
              [](Stage& stage) { write_mix_and(stage, filled(kInf), filled(-kInf), filled(kInf)); },
              {1, 3}),
      session("AllNoise",
              [](Stage& stage) {
                write_mix_and(stage, test::noise(kFrames, 0.3F, 1), test::noise(kFrames, 0.3F, 2),
                              test::noise(kFrames, 0.3F, 3));
              },
              {1, 3}),
      session("MusicOnly", [](Stage& stage) { write_mix_and(stage, music(1), music(2), music(3)); },
              {1, 3}),
      session("ClicksOnly",
              [](Stage& stage) {
                write_mix_and(stage, clicks(1, 100), clicks(2, 3000), clicks(3, 5000));
              },
              {1, 3}),
      session("OneSampleEach",
              [](Stage& stage) {
                write_mix_and(stage, filled(0.5F, 1), filled(0.5F, 1), filled(0.5F, 1));
              },
              {1, 3}),
      session("NoSampleInTheMix",
              [](Stage& stage) {
                stage.talk();
                stage.sound("mixdown.wav", Samples{});
              },
              {1, 3}),
      session("AllTheSame",
              [](Stage& stage) {
                const auto voice = stage.talked().tracks.back().samples;
                write_mix_and(stage, voice, voice, voice);
                for (const char* name : {"keeper", "mate", "mixdown"})
                  stage.belongs(name, on_the_mix);
              },
              {0, 1, 3}),
      session(
          "ALoopOfFiveSeconds",
          [](Stage& stage) {
            const auto& mix = stage.talked().mix;
            const Samples piece(mix.begin() + 10 * kRate_hz, mix.begin() + 15 * kRate_hz);
            const auto& voice = stage.talked().tracks.back().samples;
            const Samples part(voice.begin() + 10 * kRate_hz, voice.begin() + 15 * kRate_hz);
            stage.sound("mixdown.wav", with(repeated(piece, 8), test::noise(kFrames, 1e-3F, 1), 1));
            stage.sound("keeper.wav", with(piece, test::noise(kFrames, 1e-3F, 2), 1));
            stage.sound("mate.wav", with(repeated(piece, 3), test::noise(kFrames, 1e-3F, 3), 1));
          },
          {1, 3}),
      session("TracksOfAnotherSession",
              [](Stage& stage) {
                stage.talk();
                stage.sound("mixdown.wav", test::talk_of(77).mix);
                for (const auto& track : stage.talked().tracks)
                  stage.belongs(track.name,
                                [](double) { return std::numeric_limits<double>::quiet_NaN(); });
              },
              {1, 3}),
  };
}

KILTER_HOSTILE_TABLE(SoundThatProvesNothing, IsNeverFirmBesideTalk, beside_talk());
KILTER_HOSTILE_TABLE(SessionsThatProveNothing, AreNeverFirm, whole_sessions());

}  // namespace
}  // namespace kilter
