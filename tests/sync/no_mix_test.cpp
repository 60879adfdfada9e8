#include "kilter/sync/no_mix.h"

#include <gtest/gtest.h>

#include <cmath>
#include <memory>

#include "simulator/simulator.h"
#include "support/reduce.h"

namespace kilter::sync {
namespace {

/// People in a room with a recorder each, as far from each other's microphones one way as the
/// other.
simulator::SessionSpec pocket_recorders(std::uint64_t seed, double length_s, int people) {
  auto spec = simulator::hybrid_session(seed, length_s, people, 0);
  spec.room.bleed_low_db = -14.0;
  spec.room.bleed_high_db = -6.0;
  spec.room.delay_low_ms = spec.room.delay_high_ms = 4.7;
  spec.recorders.clear();
  for (int i = 0; i < people; ++i) {
    spec.people[static_cast<std::size_t>(i)].recorder = i;
    simulator::Clock clock;
    clock.drift_ppm = 27.0 * i - 31.0;
    clock.start_s = -3.7 + 2.3 * i;
    spec.recorders.push_back(clock);
  }
  return spec;
}

struct Placed {
  simulator::Session session;
  NoMixPlacing placing;

  /// How much later than the truth a track second lies on the clock's own time.
  double error_s(std::size_t track, double track_s) const {
    const auto& clock = session.tracks[static_cast<std::size_t>(placing.clock)].clock;
    const double true_s = clock.own_of(session.line_of(track, track_s));
    return *placing.tracks[track].map->to_line(track_s) - true_s;
  }
};

Placed place(const simulator::SessionSpec& spec, int threads = 2) {
  auto made = simulator::simulate(spec, simulator::SyntheticVoices(spec.seed), 2);
  EXPECT_TRUE(made);
  std::vector<std::unique_ptr<MemorySignal>> signals;
  std::vector<TrackInput> inputs;
  for (const auto& track : made->tracks) {
    signals.push_back(test::reduce(track.samples, track.clock.rate_hz));
    TrackInput input;
    input.name = track.name;
    input.signal = signals.back().get();
    input.length_s = static_cast<double>(track.samples.size()) / track.clock.rate_hz;
    inputs.push_back(input);
  }
  AlignOptions options;
  options.threads = threads;
  auto placing = place_without_mix(inputs, options);
  EXPECT_TRUE(placing);
  return {*std::move(made), *std::move(placing)};
}

TEST(NoMix, PlacesRoomMicrophonesByTheirBleedAndTellsTheAirFromTheClocks) {
  const Placed placed = place(pocket_recorders(41, 240.0, 3));
  ASSERT_GE(placed.placing.clock, 0);
  for (std::size_t i = 0; i < 3; ++i) {
    const TrackPlacing& track = placed.placing.tracks[i];
    ASSERT_TRUE(track.map);
    EXPECT_EQ(track.standing,
              static_cast<int>(i) == placed.placing.clock ? Standing::firm : Standing::shaky);
    // Reflections differ between the ways.
    const double early_s = placed.error_s(i, 20.0);
    const double late_s = placed.error_s(i, 220.0);
    EXPECT_LT(std::abs(early_s), 100e-6);
    EXPECT_LT(std::abs(late_s), 100e-6);
    EXPECT_LT(std::abs(late_s - early_s) / 200.0, 0.5e-6);
  }
  ASSERT_EQ(placed.placing.pairs.size(), 3U);
  for (const HeardPair& pair : placed.placing.pairs) {
    EXPECT_TRUE(pair.both_ways);
    EXPECT_NEAR(pair.acoustic_s, 4.7e-3, 0.2e-3);  // to the nearest strong reflection
  }
}

TEST(NoMix, AllowsForWaysOfUnequalLength) {
  for (const std::uint64_t seed : {45U, 46U}) {
    auto spec = pocket_recorders(seed, 100.0, 3);
    spec.room.delay_low_ms = 3.0;
    spec.room.delay_high_ms = 6.0;
    const Placed placed = place(spec);
    ASSERT_GE(placed.placing.clock, 0);
    for (std::size_t i = 0; i < 3; ++i) {
      const TrackPlacing& track = placed.placing.tracks[i];
      ASSERT_TRUE(track.map);
      EXPECT_LE(std::abs(placed.error_s(i, 30.0)) * 1e6, track.uncertainty_us + 1.0);
      EXPECT_LT(track.uncertainty_us, 5000.0);
    }
  }
}

TEST(NoMix, TellsOfAGuestThatOnlyALoudspeakerTies) {
  auto spec = pocket_recorders(43, 120.0, 3);
  spec.people[2].remote = true;
  spec.people[2].leaks = {{0, 0.12, -16.0}, {1, 0.12, -16.0}};
  const Placed placed = place(spec);
  ASSERT_GE(placed.placing.clock, 0);
  const TrackPlacing& guest = placed.placing.tracks[2];
  ASSERT_EQ(guest.standing, Standing::shaky);
  EXPECT_GT(guest.uncertainty_us, 1e6 * std::abs(placed.error_s(2, 60.0)));
  ASSERT_EQ(guest.findings.size(), 1U);
  EXPECT_EQ(guest.findings[0].code, "leak");
  for (std::size_t i = 0; i < 2; ++i) {
    EXPECT_NE(guest.findings[0].text.find('"' + placed.session.tracks[i].name + '"'),
              std::string::npos);
    EXPECT_TRUE(placed.placing.tracks[i].findings.empty()) << "bleed in one room is no leak";
  }
}

TEST(NoMix, BoundsAndTellsALossThatAnothersMicrophoneShows) {
  auto spec = pocket_recorders(47, 240.0, 3);
  const auto steps_of = [](const Placed& placed, std::size_t track) {
    const auto& findings = placed.placing.tracks[track].findings;
    return std::count_if(findings.begin(), findings.end(), [](const Finding& finding) {
      return finding.code == "thin-evidence" && finding.at_s;
    });
  };
  const Placed whole = place(spec);
  for (std::size_t i = 0; i < 3; ++i) EXPECT_EQ(steps_of(whole, i), 0) << i;
  spec.people[2].damage = {{simulator::Damage::Kind::lost, 120.0, 1.0}};
  const Placed lost = place(spec);
  ASSERT_EQ(steps_of(lost, 2), 1);
  const TrackPlacing& track = lost.placing.tracks[2];
  EXPECT_NEAR(*track.findings.front().at_s, 120.0, 10.0);
  for (const double track_s : {20.0, 220.0})
    EXPECT_LT(std::abs(lost.error_s(2, track_s)), 1e-6 * track.uncertainty_us) << track_s;
  EXPECT_NE(lost.placing.clock, 2);
}

TEST(NoMix, LeavesATrackThatSharesNothingUnplaced) {
  auto spec = pocket_recorders(43, 60.0, 3);
  spec.people[2].remote = true;
  const Placed placed = place(spec);
  ASSERT_GE(placed.placing.clock, 0);
  EXPECT_EQ(placed.placing.tracks[2].standing, Standing::unplaced);
  EXPECT_FALSE(placed.placing.tracks[2].map);
  EXPECT_TRUE(placed.placing.tracks[0].map);
  EXPECT_TRUE(placed.placing.tracks[1].map);
}

TEST(NoMix, IsTheSameForAnyNumberOfThreads) {
  const auto spec = pocket_recorders(44, 60.0, 2);
  const Placed one = place(spec, 1);
  const Placed three = place(spec, 3);
  ASSERT_EQ(one.placing.clock, three.placing.clock);
  for (std::size_t i = 0; i < 2; ++i) {
    ASSERT_TRUE(one.placing.tracks[i].map && three.placing.tracks[i].map);
    EXPECT_EQ(one.placing.tracks[i].map->start_s(), three.placing.tracks[i].map->start_s());
    EXPECT_EQ(one.placing.tracks[i].map->drift_ppm(), three.placing.tracks[i].map->drift_ppm());
  }
}

}  // namespace
}  // namespace kilter::sync
