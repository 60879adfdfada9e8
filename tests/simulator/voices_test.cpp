#include "voices.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "folder_voices.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::simulator {
namespace {

constexpr std::size_t kRate = kWorldRateHz;

double rms(const std::vector<float>& sound) {
  double sum = 0.0;
  for (const float x : sound) sum += static_cast<double>(x) * x;
  return std::sqrt(sum / static_cast<double>(sound.size()));
}

/// Agreement of two stretches, -1..1.
double correlation(const float* a, const float* b, std::size_t count) {
  double ab = 0.0;
  double aa = 1e-30;
  double bb = 1e-30;
  for (std::size_t i = 0; i < count; ++i) {
    ab += static_cast<double>(a[i]) * b[i];
    aa += static_cast<double>(a[i]) * a[i];
    bb += static_cast<double>(b[i]) * b[i];
  }
  return ab / std::sqrt(aa * bb);
}

/// Best agreement of a 40 ms stretch with itself 2.5 to 16 ms later, at 12 kHz.
double periodicity(const std::vector<float>& sound, std::size_t at) {
  std::vector<float> slow;
  for (std::size_t i = 0; i < 700; ++i) {
    const float* x = sound.data() + at + 4 * i;
    slow.push_back(x[0] + x[1] + x[2] + x[3]);
  }
  double best = 0.0;
  for (std::size_t lag = 30; lag <= 200; ++lag)
    best = std::max(best, correlation(slow.data(), slow.data() + lag, 480));
  return best;
}

TEST(SyntheticVoices, GiveTheLengthAndLevelAskedFor) {
  const SyntheticVoices voices(1);
  for (const std::int64_t frames : {0, 1, 100, 17000, 240000}) {
    const auto sound = voices.utterance(0, 3, frames);
    EXPECT_EQ(static_cast<std::int64_t>(sound.size()), frames);
    if (frames >= 17000) {
      EXPECT_NEAR(rms(sound), 1.0, 1e-3);
    }
    for (const float x : sound) ASSERT_TRUE(std::isfinite(x));
  }
}

TEST(SyntheticVoices, AreVoicedHereAndNoisyThere) {
  const auto sound = SyntheticVoices(2).utterance(1, 0, 10 * kWorldRateHz);
  int voiced = 0;
  int noisy = 0;
  for (std::size_t at = 0; at + kRate / 10 < sound.size(); at += kRate / 25) {
    const double p = periodicity(sound, at);
    voiced += p > 0.8;
    noisy += p < 0.4;
  }
  EXPECT_GT(voiced, 60);  // of 247
  EXPECT_GT(noisy, 15);
}

TEST(SyntheticVoices, FallFromLowToHighAsSpeechDoes) {
  const auto sound = SyntheticVoices(3).utterance(0, 0, 20 * kWorldRateHz);
  // Differences of neighbours weigh a tone at f with 2 sin(pi f / rate).
  std::vector<float> steps(sound.size() - 1);
  for (std::size_t i = 0; i < steps.size(); ++i) steps[i] = sound[i + 1] - sound[i];
  const double centre_hz =
      kRate / 3.14159265 * std::asin(std::min(1.0, rms(steps) / (2.0 * rms(sound))));
  EXPECT_GT(centre_hz, 500.0);  // real readings: 600 to 3000
  EXPECT_LT(centre_hz, 3000.0);
}

TEST(SyntheticVoices, NeverSayTheSameTwice) {
  const SyntheticVoices voices(4);
  const auto first = voices.utterance(0, 0, 96000);
  EXPECT_EQ(first, voices.utterance(0, 0, 96000));
  for (const auto& other : {voices.utterance(0, 1, 96000), voices.utterance(1, 0, 96000),
                            SyntheticVoices(5).utterance(0, 0, 96000)})
    EXPECT_LT(std::abs(correlation(first.data(), other.data(), first.size())), 0.2);
}

class FolderVoicesTest : public testing::Test {
 protected:
  void add(const std::string& name, double seconds, int rate_hz, std::uint64_t seed) {
    std::filesystem::create_directories((folder_ / name).parent_path());
    auto sound =
        SyntheticVoices(seed).utterance(0, 0, static_cast<std::int64_t>(seconds * kWorldRateHz));
    for (float& x : sound) x *= 0.1F;
    test::write_sound(folder_ / name, {sound}, rate_hz);
  }
  test::TemporaryFolder folder_;
};

TEST_F(FolderVoicesTest, TakeAFolderForASpeakerAndLeaveNoiseOut) {
  add("anna/take/one.wav", 2.0, 48000, 1);
  add("anna/two.wav", 3.0, 48000, 2);
  add("bert/one.wav", 4.0, 24000, 3);
  add("noise-01/rain.wav", 9.0, 48000, 4);
  const auto voices = FolderVoices::open(folder_.path(), 1, 2);
  ASSERT_TRUE(voices) << voices.error().what;
  std::vector<std::size_t> lengths;
  for (const auto& speaker : (*voices)->speakers()) lengths.push_back(speaker.sound.size());
  std::sort(lengths.begin(), lengths.end());
  // The file marked 24 kHz is twice as long as it was made.
  EXPECT_EQ(lengths, (std::vector<std::size_t>{5 * kRate, 8 * kRate}));
  EXPECT_FALSE(FolderVoices::open(folder_.path(), 1, 3));
}

TEST_F(FolderVoicesTest, PreferSpeakersWithAMinute) {
  add("anna/one.wav", 2.0, 48000, 1);
  add("bert/one.wav", 20.5, 16000, 2);
  add("carl/one.wav", 3.0, 48000, 3);
  for (const std::uint64_t seed : {1U, 2U, 3U, 4U}) {
    const auto voices = FolderVoices::open(folder_.path(), seed, 1);
    ASSERT_TRUE(voices);
    EXPECT_EQ((*voices)->speakers()[0].name, "bert");
  }
}

TEST_F(FolderVoicesTest, NeverSayTheSameTwiceFromShortMaterial) {
  add("anna.wav", 3.0, 48000, 1);
  const auto voices = FolderVoices::open(folder_.path(), 1, 1);
  ASSERT_TRUE(voices);
  const auto first = (*voices)->utterance(0, 0, 2 * kWorldRateHz);
  EXPECT_NEAR(rms(first), 1.0, 1e-3);
  EXPECT_EQ(first, (*voices)->utterance(0, 0, 2 * kWorldRateHz));
  const std::size_t block = kRate / 2;
  for (int index = 1; index < 5; ++index) {
    const auto other = (*voices)->utterance(0, index, 2 * kWorldRateHz);
    double best = 0.0;
    for (std::size_t lag = 0; lag + block <= other.size(); lag += 12)
      best = std::max(best, correlation(first.data() + block, other.data() + lag, block));
    // The same half second at another speed: far from the 1.0 of a repetition.
    EXPECT_LT(best, 0.75) << index;
  }
}

TEST_F(FolderVoicesTest, SayWhichFileIsNoSound) {
  test::write_text(folder_ / "anna.wav", "not a sound");
  const auto voices = FolderVoices::open(folder_.path(), 1, 1);
  ASSERT_FALSE(voices);
  EXPECT_EQ(voices.error().kind, ErrorKind::unreadable);
  EXPECT_EQ(voices.error().file.filename(), "anna.wav");
}

TEST_F(FolderVoicesTest, FailWhereThereIsNoFolder) {
  const auto voices = FolderVoices::open(folder_ / "nowhere", 1, 1);
  ASSERT_FALSE(voices);
  EXPECT_EQ(voices.error().kind, ErrorKind::no_input);
}

}  // namespace
}  // namespace kilter::simulator
