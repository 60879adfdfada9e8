#include "kilter/sync/leaks.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <memory>

#include "kilter/sync/talk_levels.h"
#include "simulator/simulator.h"
#include "support/reduce.h"

namespace kilter::sync {
namespace {

/// A simulated session, its tracks where the truth says, to which leaks can be added.
class Scene {
 public:
  explicit Scene(const simulator::SessionSpec& spec) {
    auto made = simulator::simulate(spec, simulator::SyntheticVoices(spec.seed), 2);
    EXPECT_TRUE(made);
    mix_ = test::reduce(made->mix, made->mix_rate_hz);
    for (const auto& track : made->tracks) {
      const double length_s = static_cast<double>(track.samples.size()) / track.clock.rate_hz;
      const auto signal = test::reduce(track.samples, track.clock.rate_hz);
      std::vector<float> samples(static_cast<std::size_t>(signal->frames()));
      EXPECT_TRUE(signal->read(0, samples));
      sounds_.push_back(std::move(samples));
      remote_.push_back(track.remote);
      maps_.push_back(
          *TimeMap::make({{0.0, length_s, track.line_of(0.0), track.line_of(length_s), 0.0}}));
    }
    clean_ = sounds_;
  }

  /// `holder` hears `from` so much later on the timeline.
  void leak(std::size_t holder, std::size_t from, double delay_s, double level_db) {
    const double gain = std::pow(10.0, level_db / 20.0);
    for (std::size_t i = 0; i < sounds_[holder].size(); ++i) {
      const auto line_s = maps_[holder].to_line(static_cast<double>(i) / kAnalysisRateHz);
      const auto from_s = line_s ? maps_[from].to_track(*line_s - delay_s) : std::nullopt;
      if (!from_s) continue;
      const double place = *from_s * kAnalysisRateHz;
      const auto whole = static_cast<std::size_t>(place);
      if (whole + 1 >= clean_[from].size()) continue;
      const double part = place - static_cast<double>(whole);
      const double sound = (1.0 - part) * static_cast<double>(clean_[from][whole]) +
                           part * static_cast<double>(clean_[from][whole + 1]);
      sounds_[holder][i] += static_cast<float>(gain * sound);
    }
  }

  /// From its middle on the track comes so much later than it should, as after something repeated.
  void step(std::size_t track, double late_s) {
    std::vector<float>& sounds = sounds_[track];
    const auto middle = static_cast<std::ptrdiff_t>(sounds.size() / 2);
    sounds.insert(sounds.begin() + middle, static_cast<std::size_t>(late_s * kAnalysisRateHz),
                  0.0F);
    sounds.resize(clean_[track].size());
  }

  std::vector<Leak> find(int threads = 2) {
    signals_.clear();
    std::vector<LeakTrack> tracks;
    for (std::size_t i = 0; i < sounds_.size(); ++i) {
      signals_.push_back(std::make_unique<MemorySignal>(sounds_[i]));
      const auto levels = levels_db(*signals_.back(), nullptr);
      EXPECT_TRUE(levels);
      tracks.push_back({{signals_.back().get(), &maps_[i]}, remote_[i], *levels});
    }
    auto found = find_leaks(tracks, {.threads = threads});
    EXPECT_TRUE(found);
    return *found;
  }

  /// Whose line is chosen for `track`: its own (1) or that of a leak so much later (0).
  OwnLine choose(std::size_t track, double leak_delay_s) {
    signals_.clear();
    std::vector<MappedTrack> others;
    for (std::size_t i = 0; i < sounds_.size(); ++i) {
      signals_.push_back(std::make_unique<MemorySignal>(sounds_[i]));
      if (i != track) others.push_back({signals_.back().get(), &maps_[i]});
    }
    const Span own = maps_[track].spans()[0];
    const TimeMap leaked = *TimeMap::make({{own.from_s, own.to_s, own.line_from_s - leak_delay_s,
                                            own.line_to_s - leak_delay_s, 0.0}});
    auto chosen = choose_own_line(*mix_, others, *signals_[track], {leaked, maps_[track]});
    EXPECT_TRUE(chosen);
    return *chosen;
  }

 private:
  std::unique_ptr<MemorySignal> mix_;
  std::vector<std::vector<float>> sounds_;
  std::vector<std::vector<float>> clean_;
  std::vector<TimeMap> maps_;
  std::vector<bool> remote_;
  std::vector<std::unique_ptr<MemorySignal>> signals_;
};

TEST(Leaks, FindsNoneInCleanSessionsHoweverMuchTheRoomBleeds) {
  for (const std::uint64_t seed : {21U, 22U}) {
    auto spec = simulator::hybrid_session(seed, 60.0, 3, 2);
    spec.room.bleed_low_db = -14.0;
    spec.room.bleed_high_db = -6.0;
    EXPECT_TRUE(Scene(spec).find().empty());
  }
}

struct LeakCase {
  const char* name;
  std::size_t holder;
  std::size_t from;
  double delay_s;
  double level_db;
};
class FindLeaks : public testing::TestWithParam<LeakCase> {};

TEST_P(FindLeaks, TellsDelayAndLevel) {
  const LeakCase& planted = GetParam();
  Scene scene(simulator::hybrid_session(23, 60.0, 2, 2));
  scene.leak(planted.holder, planted.from, planted.delay_s, planted.level_db);
  const auto leaks = scene.find();
  ASSERT_FALSE(leaks.empty());
  // A room microphone's neighbour hears the same voice, so it may be told along.
  const auto told = std::find_if(leaks.begin(), leaks.end(), [&](const Leak& leak) {
    return leak.holder == planted.holder && leak.from == planted.from;
  });
  ASSERT_NE(told, leaks.end());
  for (const Leak& leak : leaks) EXPECT_EQ(leak.holder, planted.holder);
  EXPECT_NEAR(told->delay_s, planted.delay_s, 0.1e-3);  // a hundredth of what an ear notices
  EXPECT_NEAR(told->level_db, planted.level_db, 1.5);   // the neighbour's bleed shares in it
}

INSTANTIATE_TEST_SUITE_P(
    Planted, FindLeaks,
    testing::Values(LeakCase{"TheRoomInAGuestsFile", 2, 0, 0.200, -25.0},
                    LeakCase{"TheRoomInAGuestsFileFaintly", 3, 1, 0.412, -40.0},
                    LeakCase{"AGuestInARoomMicrophone", 1, 3, 0.004, -22.0},
                    LeakCase{"AGuestWhoIsHeardBeforeHeIsInTheMix", 0, 2, -0.130, -30.0},
                    LeakCase{"AGuestInAGuestsFile", 2, 3, 0.333, -20.0}),
    [](const auto& each) { return each.param.name; });

TEST(Leaks, TellsAVoiceThatReturnsToItsOwnTrack) {
  Scene scene(simulator::hybrid_session(24, 60.0, 1, 2));
  scene.leak(1, 1, 0.180, -15.0);
  const auto leaks = scene.find();
  ASSERT_EQ(leaks.size(), 1U);
  EXPECT_EQ(leaks[0].holder, 1U);
  EXPECT_EQ(leaks[0].from, 1U);
  EXPECT_NEAR(leaks[0].delay_s, 0.180, 0.1e-3);
  EXPECT_NEAR(leaks[0].level_db, -15.0, 3.0);  // read from the ripple of the voice's own spectrum
}

TEST(Leaks, IsTheSameForAnyNumberOfThreads) {
  Scene scene(simulator::hybrid_session(25, 60.0, 2, 1));
  scene.leak(2, 0, 0.2, -25.0);
  const auto one = scene.find(1);
  const auto three = scene.find(3);
  ASSERT_EQ(one.size(), three.size());
  for (std::size_t i = 0; i < one.size(); ++i) {
    EXPECT_EQ(one[i].delay_s, three[i].delay_s);
    EXPECT_EQ(one[i].level_db, three[i].level_db);
  }
}

TEST(ChooseOwnLine, TakesTheVoiceAndNotTheRoomThatLeaksIn) {
  for (const std::uint64_t seed : {31U, 32U, 33U}) {
    auto spec = simulator::hybrid_session(seed, 90.0, 2, 1);
    spec.people[2].talk_share = 0.1;
    Scene scene(spec);
    for (const std::size_t from : {0U, 1U}) scene.leak(2, from, 0.2, -25.0);
    const OwnLine chosen = scene.choose(2, 0.2);
    EXPECT_EQ(chosen.index, 1U) << "seed " << seed;
    EXPECT_GT(chosen.margin, 3.0) << "seed " << seed;
  }
}

TEST(ChooseOwnLine, TellsAVoiceThatComesBackFromAStretchThatLiesThere) {
  constexpr double kLate_s = 0.2;
  constexpr double kSurely = 5.0;
  Scene looped(simulator::hybrid_session(31, 90.0, 1, 1));
  looped.leak(1, 1, kLate_s, -6.0);
  const OwnLine own = looped.choose(1, kLate_s);
  EXPECT_EQ(own.index, 1U);
  EXPECT_GT(own.margins[0], kSurely);
  EXPECT_GT(own.margins[0], 2.0 * own.margin) << "both lines explain the same windows";
  Scene stepped(simulator::hybrid_session(31, 90.0, 1, 1));
  stepped.step(1, kLate_s);
  const OwnLine half = stepped.choose(1, kLate_s);
  EXPECT_LT(half.margins[1 - half.index], kSurely);
}

}  // namespace
}  // namespace kilter::sync
