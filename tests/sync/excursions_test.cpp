#include "kilter/sync/excursions.h"

#include <gtest/gtest.h>

#include "voices.h"

namespace kilter::sync {
namespace {

constexpr double kLength_s = 40.0;
constexpr double kLate_s = 0.030;

/// A voice and a mix that holds it `kLate_s` late between two seconds.
struct Held {
  MemorySignal mix;
  MemorySignal track;
  TimeMap map = *TimeMap::make({{0.0, kLength_s, 0.0, kLength_s, 0.0}});

  std::vector<MixExcursion> excursions() const {
    const auto found = find_excursions(mix, {&track, &map}, {10.0, 15.0, 20.0, 25.0, 30.0}, 3.0);
    EXPECT_TRUE(found);
    return *found;
  }
};

Held held_back(double from_s, double to_s) {
  const simulator::SyntheticVoices voices(5);
  const std::vector<float> track = at_analysis_rate(
      voices.utterance(0, 0, static_cast<std::int64_t>(kLength_s * simulator::kWorldRateHz)));
  std::vector<float> mix = track;
  for (auto i = frame(from_s); i < std::min(frame(to_s), std::ssize(mix)); ++i)
    mix[static_cast<std::size_t>(i)] = track[static_cast<std::size_t>(i - frame(kLate_s))];
  return {MemorySignal(mix), MemorySignal(track)};
}

TEST(Excursions, AreFoundWithTheirSizeAndSeenToComeBack) {
  const auto found = held_back(19.0, 22.0).excursions();
  ASSERT_EQ(found.size(), 1U);
  EXPECT_NEAR(found[0].from_s, 19.0, 1.0);
  EXPECT_NEAR(found[0].to_s, 22.0, 1.0);
  EXPECT_NEAR(found[0].offset_s, kLate_s, 0.001);
  EXPECT_TRUE(found[0].in_place_before);
  EXPECT_TRUE(found[0].in_place_after);
}

TEST(Excursions, AreNotSaidToComeBackWhereTheyLastToTheEnd) {
  const auto found = held_back(19.0, kLength_s).excursions();
  ASSERT_FALSE(found.empty());
  EXPECT_TRUE(found.back().in_place_before);
  EXPECT_FALSE(found.back().in_place_after);
}

TEST(Excursions, AreNoneOfATrackInPlace) { EXPECT_TRUE(held_back(0.0, 0.0).excursions().empty()); }

}  // namespace
}  // namespace kilter::sync
