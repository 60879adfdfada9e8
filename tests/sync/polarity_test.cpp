#include "polarity.h"

#include <gtest/gtest.h>

#include "voices.h"

namespace kilter::sync {
namespace {

constexpr double kLength_s = 40.0;
constexpr double kHalf_s = 20.0;
constexpr double kAir_s = 0.004;

std::vector<float> turn_of(int speaker, double from_s, double to_s, float gain = 1.0F) {
  std::vector<float> voice = voice_of(31, speaker, kLength_s);
  for (std::ptrdiff_t i = 0; i < std::ssize(voice); ++i)
    voice[static_cast<std::size_t>(i)] *= i >= frame(from_s) && i < frame(to_s) ? gain : 0.0F;
  return voice;
}

void add(std::vector<float>& to, const std::vector<float>& sound, float gain, double late_s) {
  for (std::ptrdiff_t i = frame(late_s); i < std::ssize(to); ++i)
    to[static_cast<std::size_t>(i)] += gain * sound[static_cast<std::size_t>(i - frame(late_s))];
}

/// The keeper talks first, then the mate; each hears the other across the table, nearly as loud as
/// himself. The mix has both microphones.
class TwoAtATable {
 public:
  /// As the two microphones' plugs are wired.
  TwoAtATable(float keeper_sign, float mate_sign, double mate_until_s = kLength_s) {
    const auto keeper = turn_of(0, 0.0, kHalf_s);
    const auto mate = turn_of(1, kHalf_s, mate_until_s);
    std::vector<float> at_keeper = keeper;
    std::vector<float> at_mate = mate;
    add(at_keeper, mate, 0.7F, kAir_s);
    add(at_mate, keeper, 0.7F, kAir_s);
    std::vector<float> mix = at_keeper;
    add(mix, at_mate, 1.0F, 0.0);
    for (float& x : at_keeper) x *= keeper_sign;
    for (float& x : at_mate) x *= mate_sign;
    mix_ = std::make_unique<MemorySignal>(std::move(mix));
    keeper_ = std::make_unique<MemorySignal>(std::move(at_keeper));
    mate_ = std::make_unique<MemorySignal>(std::move(at_mate));
  }

  /// `keeper_said` and `mate_said`: of ten windows of all tracks, how many have it upside down.
  std::vector<bool> judged(int keeper_said, int mate_said) const {
    const MixInput mix{mix_.get(), kLength_s};
    const AlignOptions options;
    Aligning session(mix, {{"keeper", keeper_.get(), kLength_s}, {"mate", mate_.get(), kLength_s}},
                     options);
    const int said[] = {keeper_said, mate_said};
    for (std::size_t k = 0; k < 2; ++k) {
      TrackState& state = session.states[k];
      state.placed = true;
      state.map = *TimeMap::line(0.0, 0.0, kLength_s, 0.0);
      for (int w = 0; w < 10; ++w) {
        Measured m;
        m.at_s = m.track_s = m.mix_s = kLength_s * (w + 0.5) / 10;
        m.reading.inverted = w < said[k];
        state.measured.push_back(m);
        state.weights.push_back(1.0);
      }
    }
    const auto found = inverted_tracks(session);
    EXPECT_TRUE(found);
    return *found;
  }

 private:
  std::unique_ptr<MemorySignal> mix_;
  std::unique_ptr<MemorySignal> keeper_;
  std::unique_ptr<MemorySignal> mate_;
};

TEST(Polarity, IsWhatTheTrackSaysByItselfWhateverAllTogetherSay) {
  const TwoAtATable table(1.0F, -1.0F);
  EXPECT_EQ(table.judged(10, 10), (std::vector<bool>{false, true}));
  EXPECT_EQ(table.judged(6, 4), (std::vector<bool>{false, true}));
}

TEST(Polarity, IsNotDoubtedWhereNothingSpeaksAgainstIt) {
  const TwoAtATable table(-1.0F, 1.0F);
  EXPECT_EQ(table.judged(0, 1), (std::vector<bool>{false, false}));
  EXPECT_EQ(table.judged(2, 1), (std::vector<bool>{true, false}));
}

// By itself the track holds his neighbour, late, which tells nothing of his own microphone.
TEST(Polarity, OfSomebodyWhoHardlySpeaksIsWhatNearlyAllWindowsSay) {
  const TwoAtATable table(1.0F, -1.0F, kHalf_s + 1.0);
  EXPECT_EQ(table.judged(10, 10), (std::vector<bool>{false, true}));
  EXPECT_EQ(table.judged(10, 6), (std::vector<bool>{false, false}));
}

TEST(Polarity, OfAllTracksIsOppositeWhereTheMixIsUpsideDown) {
  const TwoAtATable table(-1.0F, -1.0F);
  EXPECT_EQ(table.judged(10, 10), (std::vector<bool>{true, true}));
}

}  // namespace
}  // namespace kilter::sync
