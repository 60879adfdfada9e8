#include "kilter/sync/strays.h"

#include <gtest/gtest.h>

#include <cmath>

#include "voices.h"

namespace kilter::sync {
namespace {

constexpr double kLength_s = 40.0;

std::vector<float> voice(int speaker) { return voice_of(23, speaker, kLength_s); }

void silence(std::vector<float>& sound, double from_s, double to_s) {
  std::fill(sound.begin() + frame(from_s), sound.begin() + frame(to_s), 0.0F);
}

std::vector<float> sum(const std::vector<float>& a, float gain, const std::vector<float>& b) {
  std::vector<float> out(a.size());
  for (std::size_t i = 0; i < a.size(); ++i) out[i] = a[i] + gain * b[i];
  return out;
}

Whereabouts whereabouts_of(const std::vector<float>& mix, const std::vector<float>& track,
                           double start_s = 0.0) {
  const MemorySignal mixed(mix);
  const MemorySignal heard(track);
  const double length_s = static_cast<double>(track.size()) / kAnalysisRateHz;
  const auto map = TimeMap::line(start_s, 0.0, length_s, 0.0);
  EXPECT_TRUE(map);
  const auto found = find_strays(mixed, {&heard, &*map}, {});
  EXPECT_TRUE(found);
  return *found;
}

std::vector<Stray> strays_of(const std::vector<float>& mix, const std::vector<float>& track,
                             double start_s = 0.0) {
  return whereabouts_of(mix, track, start_s).elsewhere;
}

TEST(Strays, AreNoneWhereAllThatIsSaidIsInPlace) {
  const std::vector<float> own = voice(0);
  EXPECT_TRUE(strays_of(sum(own, 0.7F, voice(1)), own).empty());
}

TEST(Strays, ShowHowFarThreeWordsBeforeALossLieOff) {
  const std::vector<float> own = voice(0);
  const std::vector<float> mix = sum(own, 0.5F, voice(1));
  std::vector<float> track = own;
  silence(track, 0.0, 1.5);
  track.erase(track.begin() + frame(2.7),
              track.begin() + frame(3.0));  // from there on all is right
  const std::vector<Stray> strays = strays_of(mix, track, 0.3);
  ASSERT_FALSE(strays.empty());
  for (const Stray& stray : strays) {
    EXPECT_LT(stray.track_s, 2.7);
    EXPECT_NEAR(stray.mix_s - stray.mapped_s, -0.3, 20e-6);
    EXPECT_NEAR(stray.mix_s, stray.track_s, 20e-6);
    EXPECT_FALSE(stray.amid_others);
  }
}

TEST(Strays, AreFoundUpsideDownToo) {
  const std::vector<float> own = voice(0);
  std::vector<float> track = own;
  track.erase(track.begin() + frame(38.0), track.begin() + frame(38.5));
  for (float& x : track) x = -0.3F * x;
  const std::vector<Stray> strays = strays_of(own, track);
  ASSERT_FALSE(strays.empty());
  for (const Stray& stray : strays) EXPECT_NEAR(stray.mix_s - stray.mapped_s, 0.5, 20e-6);
}

TEST(Strays, OfAStreamThatCameBackStandAmidOthers) {
  const std::vector<float> own = voice(0);
  std::vector<float> mix = own;
  std::copy(own.begin() + frame(20.0), own.begin() + frame(22.0), mix.begin() + frame(20.03));
  const std::vector<Stray> strays = strays_of(mix, own);
  ASSERT_FALSE(strays.empty());
  for (const Stray& stray : strays) {
    EXPECT_NEAR(stray.mix_s - stray.mapped_s, 0.03, 20e-6);
    EXPECT_TRUE(stray.amid_others);
  }
}

TEST(Strays, AreNotAmidOthersWhereOnlyAVowelHereAndThereSeemsInPlace) {
  const std::vector<float> own = voice(0);
  std::vector<float> mix = own;
  std::copy(own.begin(), own.begin() + frame(6.0), mix.begin() + frame(0.08));
  for (const double vowel_s : {0.5, 1.5, 2.5})
    std::copy(own.begin() + frame(vowel_s), own.begin() + frame(vowel_s + 0.25),
              mix.begin() + frame(vowel_s));
  const std::vector<Stray> strays = strays_of(mix, own);
  ASSERT_FALSE(strays.empty());
  EXPECT_GT(strays.back().track_s, 3.0);
  for (const Stray& stray : strays) {
    EXPECT_NEAR(stray.mix_s - stray.mapped_s, 0.08, 20e-6);
    EXPECT_FALSE(stray.amid_others);
  }
}

TEST(Strays, ShowThatWordsTheMapPutsBeforeTheMixStandAtItsBeginning) {
  const std::vector<float> own = voice(0);
  const std::vector<float> mix = sum(own, 0.5F, voice(1));
  // The file began earlier, and has three seconds too much in the middle, after which all is right.
  std::vector<float> track = voice(7);
  track.resize(static_cast<std::size_t>(frame(4.0)));
  track.insert(track.end(), own.begin(), own.begin() + frame(2.5));
  track.resize(track.size() + static_cast<std::size_t>(frame(3.0)), 0.0F);
  track.insert(track.end(), own.begin() + frame(2.5), own.end());
  const Whereabouts found = whereabouts_of(mix, track, -7.0);
  ASSERT_FALSE(found.elsewhere.empty());
  for (const Stray& stray : found.elsewhere) {
    EXPECT_NEAR(stray.mix_s - stray.mapped_s, 3.0, 20e-6);
    EXPECT_FALSE(stray.amid_others);
  }
  EXPECT_EQ(loud_s(found.nowhere), 0.0) << "what was said before the mix need not be in it";
}

TEST(Strays, AreNotASingleWordBeforeTheMixThatSoundsLikeAnothersInIt) {
  const std::vector<float> own = voice(0);
  std::vector<float> mix = sum(own, 0.5F, voice(1));
  // Word for word the same, as by rule or from one library; said before the mix began.
  const auto track_with = [&](double word_s) {
    std::vector<float> track(static_cast<std::size_t>(frame(3.0)), 0.0F);
    std::copy(mix.begin() + frame(2.0), mix.begin() + frame(2.0 + word_s), track.begin());
    track.insert(track.end(), own.begin(), own.end());
    return track;
  };
  EXPECT_TRUE(strays_of(mix, track_with(0.5), -3.0).empty());
  EXPECT_FALSE(strays_of(mix, track_with(2.5), -3.0).empty());
}

TEST(Strays, AreNotWhatWasSaidBeforeTheMixBeganOrAfterItsEnd) {
  const std::vector<float> own = voice(0);
  const std::vector<float> mix(own.begin() + frame(8.0), own.end() - frame(8.0));
  const Whereabouts found = whereabouts_of(mix, own, -8.0);
  EXPECT_TRUE(found.elsewhere.empty());
  EXPECT_EQ(loud_s(found.nowhere), 0.0);
}

TEST(Strays, AreNotWhatTheMixLeftOutAltogether) {
  const std::vector<float> own = voice(0);
  std::vector<float> mix = sum(own, 0.5F, voice(1));
  silence(mix, 10.0, 14.0);  // everybody's microphone was closed
  EXPECT_TRUE(strays_of(mix, own).empty());
}

/// As a recording at 8 kHz holds it.
std::vector<float> narrow(const std::vector<float>& sound) {
  const auto halved = test::reduce(sound, 2.0 * kAnalysisRateHz);
  std::vector<float> at_8_khz(static_cast<std::size_t>(halved->frames()));
  EXPECT_TRUE(halved->read(0, at_8_khz));
  const auto whole = test::reduce(at_8_khz, 0.5 * kAnalysisRateHz);
  std::vector<float> out(sound.size());
  EXPECT_TRUE(whole->read(0, out));
  return out;
}

// Nothing stands above 4 kHz but where what is compared is cut out of the recording.
TEST(Strays, AreNotWhatIsLeftOutOfARecordingAtALowRate) {
  const std::vector<float> own = narrow(voice_of(23, 0, 240.0));
  std::vector<float> mix = sum(own, 0.5F, narrow(voice_of(23, 1, 240.0)));
  for (double at_s = 10.0; at_s < 230.0; at_s += 12.0)
    for (auto i = frame(at_s); i < frame(at_s + 3.0); ++i)
      mix[static_cast<std::size_t>(i)] -= own[static_cast<std::size_t>(i)];
  const Whereabouts found = whereabouts_of(mix, own);
  EXPECT_GT(found.missing.size(), 20U);
  EXPECT_TRUE(found.elsewhere.empty());
}

TEST(Strays, TellWhatIsSaidAtAnEndAndFoundNowhere) {
  const std::vector<float> own = voice(0);
  std::vector<float> mix = sum(own, 0.5F, voice(1));
  EXPECT_EQ(loud_s(whereabouts_of(mix, own).nowhere), 0.0);
  std::vector<float> cut = mix;
  silence(cut, 30.0, 40.0);
  const Whereabouts at_end = whereabouts_of(cut, own);
  EXPECT_GT(loud_s(at_end.nowhere), 1.5);
  EXPECT_GT(at_end.nowhere.back().track_s, 30.0);
  silence(mix, 10.0, 20.0);  // a pause in the talk on air says nothing of the clock
  EXPECT_EQ(loud_s(whereabouts_of(mix, own).nowhere), 0.0);
}

TEST(Strays, TellBetweenWhichSecondsTheTrackIsInPlaceAndWhatIsNot) {
  const std::vector<float> own = voice(0);
  std::vector<float> mix = sum(own, 0.5F, voice(1));
  EXPECT_TRUE(whereabouts_of(mix, own).missing.empty());
  silence(mix, 0.0, 5.0);
  silence(mix, 20.0, 24.0);
  silence(mix, 35.0, 40.0);
  const Whereabouts found = whereabouts_of(mix, own);
  EXPECT_TRUE(found.is_all);
  EXPECT_GT(found.in_place_from_s, 4.9);
  EXPECT_LT(found.in_place_from_s, 15.0);
  EXPECT_GT(found.in_place_to_s, 28.0);
  EXPECT_LT(found.in_place_to_s, 35.1);
  double amid_s = 0.0;
  for (const Missing& each : found.missing) {
    const double at_s = each.track_s;
    EXPECT_TRUE(at_s < 5.0 || (at_s > 19.5 && at_s < 24.0) || at_s > 34.5) << at_s;
    if (at_s > 15.0 && at_s < 28.0) amid_s += each.loud_s;
  }
  EXPECT_GT(amid_s, 0.9);
}

TEST(Strays, ShowAPassageBeforeALongLossFarFromItsPlace) {
  const std::vector<float> own = voice(0);
  const std::vector<float> mix = sum(own, 0.5F, voice(1));
  std::vector<float> track = own;
  track.erase(track.begin() + frame(8.0), track.begin() + frame(23.0));
  const Whereabouts found = whereabouts_of(mix, track, 15.0);  // right behind the loss
  ASSERT_GT(found.elsewhere.size(), 2U);
  for (const Stray& stray : found.elsewhere) {
    EXPECT_LT(stray.track_s, 8.0);
    EXPECT_NEAR(stray.mix_s - stray.mapped_s, -15.0, 20e-6);
  }
  EXPECT_LT(loud_s(found.nowhere), 1.0);
}

TEST(Strays, OfAPassageThatTheMixHoldsTwiceAreNone) {
  const std::vector<float> own = voice(0);
  std::vector<float> mix = own;
  mix.insert(mix.end(), own.begin(), own.begin() + frame(8.0));
  std::vector<float> track = own;
  track.erase(track.begin() + frame(8.0), track.begin() + frame(23.0));
  const Whereabouts found = whereabouts_of(mix, track, 15.0);
  EXPECT_TRUE(found.elsewhere.empty());
  EXPECT_GT(loud_s(found.nowhere), 2.0);
}

TEST(Strays, AreNotANeighboursVoiceAFewMillisecondsOff) {
  const std::vector<float> own = voice(0);
  const std::vector<float> neighbour = voice(1);
  std::vector<float> track = own;
  silence(track, 20.0, 40.0);
  std::vector<float> mix = sum(track, 1.0F, neighbour);
  for (std::ptrdiff_t i = frame(20.0); i < frame(40.0); ++i)
    track[static_cast<std::size_t>(i)] =
        0.8F * neighbour[static_cast<std::size_t>(i - frame(0.005))];
  EXPECT_TRUE(strays_of(mix, track).empty());
}

TEST(Strays, OfASilentTrackAreNone) {
  const std::vector<float> nothing(static_cast<std::size_t>(frame(kLength_s)), 0.0F);
  EXPECT_TRUE(strays_of(voice(0), nothing).empty());
  EXPECT_TRUE(strays_of(nothing, voice(0)).empty());
}

}  // namespace
}  // namespace kilter::sync
