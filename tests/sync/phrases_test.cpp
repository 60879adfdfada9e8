#include "kilter/sync/phrases.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "voices.h"

namespace kilter::sync {
namespace {

constexpr double kLength_s = 40.0;
constexpr double kTurn_s = 5.0;  // they take turns: keeper, mate, keeper ..
constexpr double kAcross_s = 5e-3;
constexpr float kBleed = 0.2F;

/// What somebody says in every other turn.
std::vector<float> turns_of(int speaker) {
  std::vector<float> sound = voice_of(31, speaker, kLength_s);
  for (double at_s = speaker == 0 ? kTurn_s : 0.0; at_s < kLength_s; at_s += 2.0 * kTurn_s)
    std::fill(sound.begin() + frame(at_s),
              sound.begin() + std::min(frame(at_s + kTurn_s + 0.3), std::ssize(sound)), 0.0F);
  return sound;
}

/// Two people in one room, each with a microphone that hears the other, too.
struct Room {
  std::vector<float> keeper = turns_of(0);
  std::vector<float> mate = turns_of(1);
  std::vector<float> mix;

  Room() {
    const std::vector<float> own[] = {keeper, mate};
    for (std::size_t i = 0; i < keeper.size(); ++i) {
      const std::size_t late =
          i - std::min<std::size_t>(i, static_cast<std::size_t>(frame(kAcross_s)));
      const float noise = 1e-3F * std::sin(static_cast<float>(i * i % 7919));
      keeper[i] += kBleed * own[1][late] + noise;
      mate[i] += kBleed * own[0][late] - noise;
      mix.push_back(keeper[i] + mate[i]);
    }
  }

  std::vector<TrackPhrases> phrases(int threads = 1) const {
    const MemorySignal all(mix);
    const MemorySignal first(keeper);
    const MemorySignal second(mate);
    const auto map = *TimeMap::line(0.0, 0.0, kLength_s, 0.0);
    auto found =
        measure_phrases(all, kLength_s, {{&first, &map}, {&second, &map}}, {.threads = threads});
    EXPECT_TRUE(found);
    return *std::move(found);
  }
};

/// What is said from one second to another is said so much later.
void slip(std::vector<float>& sound, double from_s, double to_s, double late_s) {
  const std::vector<float> whole = sound;
  std::copy(whole.begin() + frame(from_s), whole.begin() + frame(to_s),
            sound.begin() + frame(from_s + late_s));
}

TEST(MeasuredPhrases, AreEachTracksOwnTalkAndInPlace) {
  const auto found = Room().phrases();
  ASSERT_EQ(found.size(), 2U);
  for (std::size_t k = 0; k < 2; ++k) {
    EXPECT_GE(found[k].phrases.size(), 4U);
    EXPECT_TRUE(found[k].missing.empty());
    for (const Phrase& phrase : found[k].phrases) {
      EXPECT_TRUE(phrase.heard) << phrase.from_s;
      EXPECT_LT(std::abs(phrase.late_s), 50e-6) << phrase.from_s;
      const auto turn = static_cast<std::size_t>(0.5 * (phrase.from_s + phrase.to_s) / kTurn_s);
      EXPECT_EQ(turn % 2, k) << phrase.from_s << " is the other's turn";
    }
  }
}

TEST(MeasuredPhrases, TellTheOneTurnThatSlippedByHowMuch) {
  for (const double late_s : {1.2e-3, -5e-3, 0.05, 0.7}) {
    Room room;
    slip(room.keeper, 30.0, 34.9, late_s);
    int off = 0;
    const auto found = room.phrases();
    for (const Phrase& phrase : found[0].phrases) {
      const bool is_slipped = phrase.from_s > 29.0;
      if (is_slipped && phrase.heard && std::abs(phrase.late_s - late_s) < 1e-4) ++off;
      if (!is_slipped) {
        EXPECT_LT(std::abs(phrase.late_s), 50e-6) << phrase.from_s;
      }
    }
    EXPECT_GE(off, 1) << late_s;
  }
}

TEST(MeasuredPhrases, AreNotHeardWhereTheMixHoldsNothingOfTheKind) {
  Room room;
  const std::vector<float> strange = voice_of(77, 5, kLength_s);
  std::copy(strange.begin() + frame(10.0), strange.begin() + frame(15.2),
            room.keeper.begin() + frame(10.0));
  const auto found = room.phrases();
  for (const Phrase& phrase : found[0].phrases)
    EXPECT_EQ(phrase.heard, phrase.from_s < 9.0 || phrase.from_s > 15.0) << phrase.from_s;
}

TEST(MeasuredPhrases, AreMissingWhereATrackIsSilentAndItsNeighbourHearsItsPerson) {
  Room room;
  std::fill(room.keeper.begin() + frame(19.5), room.keeper.begin() + frame(29.0), 0.0F);
  const auto found = room.phrases();
  ASSERT_FALSE(found[0].missing.empty());
  EXPECT_GE(found[0].missing.front().line_from_s, 19.5);
  EXPECT_LE(found[0].missing.back().line_to_s, 25.5) << "then it is the other's turn";
  EXPECT_TRUE(found[1].missing.empty());
}

TEST(MeasuredPhrases, AreTheSameForAnyNumberOfThreads) {
  const Room room;
  const auto one = room.phrases(1);
  const auto three = room.phrases(3);
  for (std::size_t k = 0; k < 2; ++k) {
    ASSERT_EQ(one[k].phrases.size(), three[k].phrases.size());
    for (std::size_t i = 0; i < one[k].phrases.size(); ++i)
      EXPECT_EQ(one[k].phrases[i].late_s, three[k].phrases[i].late_s);
  }
}

}  // namespace
}  // namespace kilter::sync
