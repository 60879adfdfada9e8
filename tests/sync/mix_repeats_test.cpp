#include "mix_repeats.h"

#include <gtest/gtest.h>

#include "voices.h"

namespace kilter::sync {
namespace {

constexpr double kLength_s = 90.0;
constexpr double kTeaser_s = 8.0;
constexpr double kFrom_s = 50.0;  // of the show

/// A show of two voices behind a teaser out of it.
std::vector<float> show_with_teaser() {
  std::vector<float> show = voice_of(31, 0, kLength_s);
  const std::vector<float> other = voice_of(31, 1, kLength_s);
  for (std::size_t i = 0; i < show.size(); ++i) show[i] += 0.7F * other[i];
  std::vector<float> mix(show.begin() + frame(kFrom_s), show.begin() + frame(kFrom_s + kTeaser_s));
  mix.insert(mix.end(), show.begin(), show.end());
  return mix;
}

MixRepeat repeats_in(const std::vector<float>& sound, std::vector<Stretch>& voice,
                     const std::vector<Stretch>& others = {}) {
  const MemorySignal mix(sound);
  const auto features = onset_features(mix);
  EXPECT_TRUE(features);
  const double length_s = static_cast<double>(sound.size()) / kAnalysisRateHz;
  const std::vector<Span> spans{{0.0, length_s, 0.0, length_s, 0.0}};
  const auto repeat = take_repeats(mix, *features, spans, nullptr, voice, others);
  EXPECT_TRUE(repeat);
  return *repeat;
}

TEST(MixRepeats, AreTakenOutOfWhatNoTrackExplains) {
  std::vector<Stretch> voice{{1.0, 6.5}, {20.0, 26.0}};
  const MixRepeat repeat = repeats_in(show_with_teaser(), voice);
  ASSERT_EQ(repeat.stretches.size(), 1U);
  EXPECT_EQ(repeat.stretches[0].line_from_s, 1.0);
  EXPECT_NEAR(repeat.again_s, 1.0 + kFrom_s + kTeaser_s, 1e-3);
  ASSERT_EQ(voice.size(), 1U);
  EXPECT_EQ(voice[0].line_from_s, 20.0);
}

TEST(MixRepeats, AreFoundUnderAJingleToo) {
  std::vector<float> mix = show_with_teaser();
  for (std::int64_t i = 0; i < frame(kTeaser_s); ++i)
    mix[static_cast<std::size_t>(i)] += 0.02F * std::sin(0.17F * static_cast<float>(i)) +
                                        0.02F * std::sin(0.2553F * static_cast<float>(i));
  std::vector<Stretch> voice{{1.0, 6.5}};
  EXPECT_EQ(repeats_in(mix, voice).stretches.size(), 1U);
}

TEST(MixRepeats, AreNoneOfAVoiceThatIsHeardOnce) {
  std::vector<Stretch> voice{{12.0, 18.0}, {30.0, 33.0}, {80.0, 90.0}};
  EXPECT_TRUE(repeats_in(show_with_teaser(), voice).stretches.empty());
  EXPECT_EQ(voice.size(), 3U);
}

TEST(MixRepeats, AreNotTakenOutWhereTheTalkIsExplainedInNeitherPlace) {
  const Stretch teaser{1.0, 6.5};
  const double later_s = kFrom_s + kTeaser_s;
  const Stretch again{1.0 + later_s, 6.5 + later_s};
  std::vector<Stretch> both{teaser, again};
  const MixRepeat repeat = repeats_in(show_with_teaser(), both);
  EXPECT_TRUE(repeat.stretches.empty());
  EXPECT_EQ(both.size(), 2U);
  ASSERT_FALSE(repeat.shifts_s.empty());
  EXPECT_NEAR(repeat.shifts_s.front(), later_s, 1e-3);
  std::vector<Stretch> one{teaser};
  EXPECT_TRUE(repeats_in(show_with_teaser(), one, {again}).stretches.empty());
}

TEST(AreHeldAgain, OnlyWhereAllThatIsListenedToIs) {
  const MemorySignal mix(show_with_teaser());
  const double later_s = kFrom_s + kTeaser_s;
  const auto again = [&](const std::vector<double>& middles_s, double shift_s) {
    const auto told = are_held_again(mix, middles_s, shift_s);
    EXPECT_TRUE(told);
    return *told;
  };
  EXPECT_TRUE(again({3.5, 4.0, 4.5}, later_s));
  EXPECT_TRUE(again({3.5 + later_s}, -later_s));
  EXPECT_FALSE(again({3.5, 4.0, 4.5}, later_s - 1.0));
  EXPECT_FALSE(again({3.5, 30.0}, later_s));
  EXPECT_FALSE(again({}, later_s));
}

TEST(MixRepeats, AreNoneInSilence) {
  std::vector<Stretch> voice{{1.0, 6.5}};
  EXPECT_TRUE(repeats_in(std::vector<float>(static_cast<std::size_t>(frame(30.0))), voice)
                  .stretches.empty());
  EXPECT_EQ(voice.size(), 1U);
}

}  // namespace
}  // namespace kilter::sync
