#include "kilter/sync/seam_place.h"

#include <gtest/gtest.h>

#include <cmath>

#include "voices.h"

namespace kilter::sync {
namespace {

constexpr double kPauseFrom_s = 20.0;
constexpr double kPauseTo_s = 23.0;
constexpr double kLength_s = 60.0;

/// A minute of one voice at the analysis rate, with a pause.
std::vector<float> talk() {
  const simulator::SyntheticVoices voices(11);
  std::vector<float> sound =
      voices.utterance(0, 0, static_cast<std::int64_t>(kLength_s * simulator::kWorldRateHz));
  for (std::size_t i = 0; i < sound.size(); ++i) {
    const double t = static_cast<double>(i) / simulator::kWorldRateHz;
    if (t > kPauseFrom_s && t < kPauseTo_s) sound[i] = 0.0F;
    sound[i] += 1e-4F * static_cast<float>(std::sin(0.37 * static_cast<double>(i * i % 1009)));
  }
  return at_analysis_rate(sound);
}

std::vector<float> silence(double length_s) {
  return std::vector<float>(static_cast<std::size_t>(frame(length_s)), 0.0F);
}

/// The mix is the talk, the track what damage left of it; both begin together.
struct Damaged {
  MemorySignal mix;
  MemorySignal track;
  SeamPlace place(double step_s, double from_s, double to_s) const {
    const auto found = place_seam(mix, {{&track, {0.0, 1.0}, {step_s, 1.0}}}, step_s, from_s, to_s);
    EXPECT_TRUE(found);
    return *found;
  }
};

Damaged lost(double at_s, double length_s) {
  const std::vector<float> whole = talk();
  std::vector<float> file = whole;
  file.erase(file.begin() + frame(at_s), file.begin() + frame(at_s + length_s));
  return {MemorySignal(whole), MemorySignal(file)};
}

Damaged inserted(double at_s, std::vector<float> what) {
  const std::vector<float> whole = talk();
  std::vector<float> file = whole;
  file.insert(file.begin() + frame(at_s), what.begin(), what.end());
  return {MemorySignal(whole), MemorySignal(file)};
}

TEST(SeamPlace, TellsHowFarAPauseLeavesItOpen) {
  const SeamPlace place = lost(21.0, 0.5).place(0.5, 15.0, 28.0);
  EXPECT_LT(place.earliest_s, kPauseFrom_s + 0.2);
  EXPECT_GT(place.latest_s, kPauseTo_s - 0.5 - 0.2);
  EXPECT_FALSE(place.in_speech);
  EXPECT_EQ(place.loose_s, 0.0) << "silence is no doubt";
}

TEST(SeamPlace, SaysThatItIsLooseWhereTheMixHoldsOtherSoundAroundIt) {
  const Damaged damaged = lost(40.0, 0.5);
  EXPECT_LT(damaged.place(0.5, 35.0, 45.0).loose_s, 0.05);
  std::vector<float> mix(static_cast<std::size_t>(damaged.mix.frames()));
  ASSERT_TRUE(damaged.mix.read(0, mix));
  std::uint32_t random = 1;
  for (auto i = frame(39.8); i < frame(40.7); ++i) {
    random = random * 1664525U + 1013904223U;
    mix[static_cast<std::size_t>(i)] =
        0.2F * (static_cast<float>(random >> 8U) / 8388608.0F - 1.0F);
  }
  const MemorySignal disturbed(mix);
  const auto found =
      place_seam(disturbed, {{&damaged.track, {0.0, 1.0}, {0.5, 1.0}}}, 0.5, 35.0, 45.0);
  ASSERT_TRUE(found);
  EXPECT_GT(found->loose_s, 0.05);
}

TEST(SeamPlace, SaysHowMuchBetterItIsThanTheEndsOfTheSearch) {
  const SeamPlace place = lost(30.0, 0.5).place(0.5, 25.0, 35.0);
  EXPECT_GT(place.over_first, 0.0);
  EXPECT_GT(place.over_last, 0.0);
}

TEST(SeamPlace, ALossAmidSpeechIsFoundToTwentyMilliseconds) {
  for (const double length_s : {0.02, 0.3, 4.0}) {
    const SeamPlace place = lost(32.5, length_s).place(length_s, 28.0, 38.0);
    EXPECT_NEAR(place.track_end_s, 32.5, 0.02) << length_s;
    EXPECT_NEAR(place.mix_end_s, 32.5, 0.02) << length_s;
    EXPECT_NEAR(place.mix_from_s, 32.5 + length_s, 0.02) << length_s;
    EXPECT_NEAR(place.track_from_s, place.track_end_s, 1e-6) << length_s;
  }
}

TEST(SeamPlace, ALossInAPauseStaysInIt) {
  const SeamPlace place = lost(21.0, 0.8).place(0.8, 15.0, 27.0);
  EXPECT_GE(place.mix_end_s, kPauseFrom_s - 0.01);
  EXPECT_LE(place.mix_from_s, kPauseTo_s + 0.01);
}

TEST(SeamPlace, InsertedZerosAreTheSeamItself) {
  const SeamPlace place = inserted(34.2, silence(0.25)).place(-0.25, 30.0, 38.0);
  EXPECT_TRUE(place.zeros);
  EXPECT_NEAR(place.track_end_s, 34.2, 0.001);
  EXPECT_NEAR(place.track_from_s, 34.45, 0.001);
  EXPECT_NEAR(place.mix_from_s, place.mix_end_s, 0.001);
}

TEST(SeamPlace, ZerosAsLongAsTheStepAreTheSeamThoughAnothersVoiceSeemsToPutItElsewhere) {
  const Damaged damaged = inserted(21.0, silence(0.4));
  std::vector<float> mix(static_cast<std::size_t>(damaged.mix.frames()));
  ASSERT_TRUE(damaged.mix.read(0, mix));
  // What stands where the pause ends is most unlike what the track says next.
  for (auto i = frame(23.0); i < frame(23.1); ++i) mix[static_cast<std::size_t>(i)] *= -1.0F;
  const MemorySignal other(std::move(mix));
  const auto place_for = [&](double step_s) {
    const auto found =
        place_seam(other, {{&damaged.track, {0.0, 1.0}, {step_s, 1.0}}}, step_s, 18.0, 26.0);
    EXPECT_TRUE(found);
    return *found;
  };
  EXPECT_TRUE(place_for(-0.4).zeros);
  EXPECT_NEAR(place_for(-0.4).track_end_s, 21.0, 0.002);
  EXPECT_NEAR(place_for(-0.4).track_from_s, 21.4, 0.002);
  EXPECT_FALSE(place_for(-0.2).zeros) << "they are no seam of another size";
}

TEST(SeamPlace, AStretchThatStandsTwiceIsTheSeamThoughAnothersVoiceSeemsToPutItElsewhere) {
  const std::vector<float> whole = talk();
  const Damaged damaged =
      inserted(40.0, {whole.begin() + frame(39.95), whole.begin() + frame(40.0)});
  std::vector<float> mix = whole;
  // What stands behind the seam is most unlike what the track says next.
  for (auto i = frame(40.0); i < frame(40.2); ++i) mix[static_cast<std::size_t>(i)] *= -1.0F;
  const MemorySignal other(std::move(mix));
  const auto place_for = [&](double step_s) {
    const auto found =
        place_seam(other, {{&damaged.track, {0.0, 1.0}, {step_s, 1.0}}}, step_s, 36.0, 44.0);
    EXPECT_TRUE(found);
    return *found;
  };
  EXPECT_TRUE(place_for(-0.05).repeated);
  EXPECT_NEAR(place_for(-0.05).track_end_s, 40.0, 0.01);
  EXPECT_FALSE(place_for(-0.08).repeated) << "it is no seam of another size";
}

TEST(SeamPlace, ARepeatedStretchIsLeftOutOnce) {
  const std::vector<float> whole = talk();
  const SeamPlace place = inserted(40.0, {whole.begin() + frame(39.0), whole.begin() + frame(40.0)})
                              .place(-1.0, 36.0, 44.0);
  EXPECT_TRUE(place.repeated);
  EXPECT_NEAR(place.track_from_s - place.track_end_s, 1.0, 1e-6);
  // Either copy may go; the second one does.
  EXPECT_NEAR(place.track_end_s, 40.0, 0.03);
}

TEST(SeamPlace, AShortStretchThatStandsTwiceIsKnownAfterAReductionOfTheRate) {
  const simulator::SyntheticVoices voices(11);
  const auto at = [](double s) {
    return static_cast<std::ptrdiff_t>(std::llround(s * simulator::kWorldRateHz));
  };
  const std::vector<float> whole = voices.utterance(0, 0, at(kLength_s));
  for (const double length_s : {0.016, 0.03, 0.05}) {
    int known = 0;
    for (const double at_s : {31.3, 36.4, 40.0, 43.7, 51.2}) {
      std::vector<float> file = whole;
      const std::vector<float> twice(whole.begin() + at(at_s - length_s), whole.begin() + at(at_s));
      file.insert(file.begin() + at(at_s), twice.begin(), twice.end());
      const MemorySignal mix(at_analysis_rate(whole));
      const MemorySignal track(at_analysis_rate(file));
      const auto place = place_seam(mix, {{&track, {0.0, 1.0}, {-length_s, 1.0}}}, -length_s,
                                    at_s - 4.0, at_s + 4.0);
      ASSERT_TRUE(place);
      known += place->repeated;
    }
    EXPECT_EQ(known, 5) << length_s;
  }
}

TEST(SeamPlace, InAMixThatSurelyMovedAShortCopyAndZerosAreTheSeamItself) {
  const std::vector<float> whole = talk();
  const auto place_of = [&](std::vector<float> what, SeamIn seam_in) {
    const double step_s = static_cast<double>(what.size()) / kAnalysisRateHz;
    std::vector<float> mix = whole;
    mix.insert(mix.begin() + frame(40.0), what.begin(), what.end());
    const MemorySignal moved(mix);
    const MemorySignal track(whole);
    const auto found =
        place_seam(moved, {{&track, {0.0, 1.0}, {step_s, 1.0}}}, step_s, 36.0, 44.0, {}, seam_in);
    EXPECT_TRUE(found);
    return *found;
  };
  const std::vector<float> copy(whole.begin() + frame(39.94), whole.begin() + frame(40.0));
  const SeamPlace repeated = place_of(copy, SeamIn::mix);
  EXPECT_TRUE(repeated.repeated);
  EXPECT_NEAR(repeated.mix_end_s, 40.0, 0.005);
  EXPECT_FALSE(place_of(copy, SeamIn::either).repeated) << "a voice's own periods are as alike";
  const SeamPlace padded = place_of(silence(0.06), SeamIn::mix);
  EXPECT_TRUE(padded.zeros);
  EXPECT_NEAR(padded.mix_end_s, 40.0, 0.001);
  EXPECT_FALSE(place_of(silence(0.06), SeamIn::track).mix_padded)
      << "a mix may be silent where a track lost something";
}

TEST(SeamPlace, DigitalSilenceIsNoStretchThatStandsTwice) {
  for (const double at_s : {34.2, 21.0, 47.9}) {
    const SeamPlace place = inserted(at_s, silence(1.0)).place(-1.0, at_s - 4.0, at_s + 4.0);
    EXPECT_TRUE(place.zeros) << at_s;
    EXPECT_FALSE(place.repeated) << at_s;
  }
}

TEST(SeamPlace, ALoudNeighbourWhoIsKnownDoesNotHideIt) {
  const Damaged damaged = lost(32.5, 0.3);
  const simulator::SyntheticVoices voices(12);
  std::vector<float> loud = at_analysis_rate(
      voices.utterance(1, 0, static_cast<std::int64_t>(kLength_s * simulator::kWorldRateHz)));
  std::vector<float> both(static_cast<std::size_t>(damaged.mix.frames()));
  ASSERT_TRUE(damaged.mix.read(0, both));
  for (std::size_t i = 0; i < both.size(); ++i) both[i] += 4.0F * loud[i];
  const MemorySignal mix(both);
  const MemorySignal neighbour(loud);
  const std::vector<SeamWitness> witness{{&damaged.track, {0.0, 1.0}, {0.3, 1.0}}};
  const auto alone = place_seam(mix, witness, 0.3, 28.0, 38.0);
  const auto place = place_seam(mix, witness, 0.3, 28.0, 38.0, {{&neighbour, {0.0, 1.0}}});
  ASSERT_TRUE(alone);
  ASSERT_TRUE(place);
  EXPECT_NEAR(place->track_end_s, 32.5, 0.02);
  EXPECT_LT(place->latest_s - place->earliest_s, alone->latest_s - alone->earliest_s);
}

TEST(SeamPlace, AnInvertedTrackIsNoHindrance) {
  Damaged damaged = lost(32.5, 0.3);
  std::vector<float> turned(static_cast<std::size_t>(damaged.track.frames()));
  ASSERT_TRUE(damaged.track.read(0, turned));
  for (float& x : turned) x = -0.2F * x;
  const MemorySignal track(turned);
  const auto place = place_seam(damaged.mix, {{&track, {0.0, 1.0}, {0.3, 1.0}}}, 0.3, 28.0, 38.0);
  ASSERT_TRUE(place);
  EXPECT_NEAR(place->track_end_s, 32.5, 0.02);
}

TEST(SeamPlace, TheEndsOfTheMixAreNoTrouble) {
  const Damaged damaged = lost(0.4, 0.2);
  EXPECT_GE(damaged.place(0.2, 0.0, 3.0).mix_end_s, 0.0);
  EXPECT_LE(damaged.place(0.2, kLength_s - 1.0, kLength_s).mix_end_s, kLength_s + 0.1);
}

}  // namespace
}  // namespace kilter::sync
