#include "kilter/sync/align.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <memory>
#include <vector>

#include "simulator/simulator.h"
#include "support/reduce.h"

namespace kilter::sync {
namespace {

/// A simulated session as the estimator meets it.
struct Heard {
  simulator::Session sound;
  std::unique_ptr<MemorySignal> mix;
  std::vector<std::unique_ptr<MemorySignal>> signals;
  std::vector<TrackInput> tracks;

  MixInput mix_input() const {
    return {mix.get(), static_cast<double>(sound.mix.size()) / sound.mix_rate_hz, false};
  }
  double worst_error_us(std::size_t track, const TrackPlacing& placing) const {
    double worst_us = 0.0;
    for (int i = 0; i <= 20; ++i) {
      const double track_s =
          std::min(tracks[track].length_s * i / 20.0, placing.map->spans().back().to_s);
      worst_us = std::max(worst_us, 1e6 * std::abs(placing.map->to_line(track_s).value() -
                                                   sound.line_of(track, track_s)));
    }
    return worst_us;
  }
};

Heard hear(const simulator::SessionSpec& spec) {
  Heard heard;
  auto made = simulator::simulate(spec, simulator::SyntheticVoices(spec.seed), 2);
  EXPECT_TRUE(made);
  heard.sound = *std::move(made);
  heard.mix = test::reduce(heard.sound.mix, heard.sound.mix_rate_hz);
  for (const auto& track : heard.sound.tracks) {
    heard.signals.push_back(test::reduce(track.samples, track.clock.rate_hz));
    heard.tracks.push_back({track.name, heard.signals.back().get(),
                            static_cast<double>(track.samples.size()) / track.clock.rate_hz,
                            false});
  }
  return heard;
}

AlignOptions with_threads(int threads) {
  AlignOptions options;
  options.threads = threads;
  return options;
}

TEST(Align, PlacesRoomAndGuestWithinTenMicroseconds) {
  const Heard heard = hear(simulator::hybrid_session(21, 120.0, 2, 1));
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  for (std::size_t k = 0; k < placings->tracks.size(); ++k) {
    const TrackPlacing& placing = placings->tracks[k];
    ASSERT_EQ(placing.standing, Standing::firm) << heard.tracks[k].name;
    EXPECT_LT(heard.worst_error_us(k, placing), 10.0) << heard.tracks[k].name;
    EXPECT_LT(heard.worst_error_us(k, placing), placing.uncertainty_us) << heard.tracks[k].name;
  }
  EXPECT_EQ(placings->tracks[0].recorder, placings->tracks[1].recorder);
  EXPECT_NE(placings->tracks[0].recorder, placings->tracks[2].recorder);
  EXPECT_FALSE(placings->tracks[0].remote);
  EXPECT_FALSE(placings->tracks[1].remote);
  EXPECT_TRUE(placings->tracks[2].remote);
}

TEST(Align, TheJointStepKeepsAMicrophoneFromLockingOntoItsNeighbour) {
  auto spec = simulator::hybrid_session(3, 120.0, 3, 0);
  spec.room.bleed_low_db = -8.0;
  spec.room.bleed_high_db = -4.0;
  spec.people[2].talk_share = 0.08;
  // A recorder for each, so that no sibling can put a microphone right.
  for (int i = 0; i < 3; ++i) {
    spec.people[static_cast<std::size_t>(i)].recorder = static_cast<int>(spec.recorders.size());
    spec.recorders.push_back({.rate_hz = 48000.0,
                              .drift_ppm = 15.0 * i,
                              .start_s = -2.0 * i,
                              .length_s = 0.0,
                              .warm_up = {}});
  }
  const Heard heard = hear(spec);
  AlignOptions options = with_threads(2);
  const auto joint = align(heard.mix_input(), heard.tracks, options);
  options.joint = false;
  const auto alone = align(heard.mix_input(), heard.tracks, options);
  ASSERT_TRUE(joint && alone);
  double worst_joint_us = 0.0;
  double worst_alone_us = 0.0;
  for (std::size_t k = 0; k < heard.tracks.size(); ++k) {
    ASSERT_TRUE(joint->tracks[k].map);
    worst_joint_us = std::max(worst_joint_us, heard.worst_error_us(k, joint->tracks[k]));
    EXPECT_FALSE(joint->tracks[k].remote) << "a recorder of its own in the room";
    if (alone->tracks[k].map)
      worst_alone_us = std::max(worst_alone_us, heard.worst_error_us(k, alone->tracks[k]));
  }
  EXPECT_LT(worst_joint_us, 10.0);
  EXPECT_GT(worst_alone_us, 2500.0);  // a metre of air: what the joint step is for
}

void expect_whole_and_firm(const Heard& heard, const Alignment& placings) {
  EXPECT_TRUE(placings.mix_findings.empty());
  for (std::size_t k = 0; k < placings.tracks.size(); ++k) {
    const TrackPlacing& placing = placings.tracks[k];
    ASSERT_EQ(placing.standing, Standing::firm) << heard.tracks[k].name;
    EXPECT_EQ(placing.map->spans().size(), 1U) << heard.tracks[k].name;
    EXPECT_LT(heard.worst_error_us(k, placing), 10.0) << heard.tracks[k].name;
  }
}

TEST(Align, KeepsGuestsOnTheirOwnVoicesThoughTheRoomIsHeardInTheirFilesAllTheTime) {
  auto spec = simulator::hybrid_session(2, 180.0, 2, 2);
  spec.people[2].leaks = {{0, 0.120, -14.0}, {1, 0.120, -14.0}};
  spec.people[3].leaks = {{0, 0.400, -20.0}, {1, 0.400, -20.0}, {2, 0.350, -20.0}};
  const Heard heard = hear(spec);
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  expect_whole_and_firm(heard, *placings);
}

TEST(Align, KeepsGuestsOnTheirOwnVoicesThoughEachHearsAllOthersOverALoudspeaker) {
  auto spec = simulator::hybrid_session(2, 180.0, 2, 2);
  spec.people[2].leaks = {{0, 0.200, -12.0}, {1, 0.200, -12.0}, {3, 0.200, -12.0}};
  spec.people[2].talk_share = 0.15;
  spec.people[3].talk_share = 0.15;
  spec.people[3].leaks = {{0, 0.250, -12.0}, {1, 0.250, -12.0}, {2, 0.250, -12.0}};
  const Heard heard = hear(spec);
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  expect_whole_and_firm(heard, *placings);
  const auto is_leak = [](const Finding& finding) { return finding.code == "leak"; };
  for (const std::size_t guest : {2U, 3U}) {
    const auto& told = placings->tracks[guest].findings;
    EXPECT_EQ(std::count_if(told.begin(), told.end(), is_leak), 3) << heard.tracks[guest].name;
  }
}

TEST(Align, KeepsGuestsOnTheirOwnVoicesThoughNobodyElseIsThereAndTheyHearEachOther) {
  auto spec = simulator::hybrid_session(7, 180.0, 0, 3);
  spec.people[0].leaks = {{1, 0.180, -12.0}, {2, 0.180, -12.0}};
  spec.people[1].leaks = {{0, 0.220, -12.0}, {2, 0.220, -12.0}};
  spec.people[2].leaks = {{0, 0.150, -12.0}, {1, 0.150, -12.0}};
  const Heard heard = hear(spec);
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  expect_whole_and_firm(heard, *placings);
}

TEST(Align, DoubtsAGuestWhoseStreamStandsStillForLackOfASplice) {
  auto spec = simulator::hybrid_session(4, 100.0, 1, 2);
  spec.recorders[1].drift_ppm = 60.0;
  spec.people[1].stream.staircase_s = 0.012;
  spec.recorders[2].drift_ppm = 60.0;
  const Heard heard = hear(spec);
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  EXPECT_EQ(placings->tracks[1].standing, Standing::shaky);
  EXPECT_GT(placings->tracks[1].uncertainty_us, heard.worst_error_us(1, placings->tracks[1]));
  EXPECT_EQ(placings->tracks[2].standing, Standing::firm) << "its clock shows in the mix";
}

TEST(Align, DoubtsAGuestWhoSaysNothingAndHearsAKeeperLate) {
  auto spec = simulator::hybrid_session(71, 90.0, 2, 2);
  spec.people[3].talk_share = 0.0;
  spec.people[3].leaks = {{0, 0.396, -24.7}};
  const Heard heard = hear(spec);
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  for (std::size_t k = 0; k < 3; ++k)
    EXPECT_EQ(placings->tracks[k].standing, Standing::firm) << heard.tracks[k].name;
  const TrackPlacing& guest = placings->tracks[3];
  ASSERT_EQ(guest.standing, Standing::shaky);
  EXPECT_GT(guest.uncertainty_us, heard.worst_error_us(3, guest));
  EXPECT_NE(guest.findings[0].text.find(heard.tracks[0].name), std::string::npos);
}

TEST(Align, DoesNotDoubtASecondRecorderThatHearsTheRoomAsLoudAsTheOthersDo) {
  auto spec = simulator::hybrid_session(71, 90.0, 3, 1);
  spec.people[2].talk_share = 0.0;
  spec.people[2].recorder = static_cast<int>(spec.recorders.size());
  spec.recorders.push_back(
      {.rate_hz = 48000.0, .drift_ppm = 15.0, .start_s = -2.0, .length_s = 0.0, .warm_up = {}});
  Heard heard = hear(spec);
  std::vector<float> samples(static_cast<std::size_t>(heard.signals[2]->frames()));
  ASSERT_TRUE(heard.signals[2]->read(0, samples));
  for (float& x : samples) x *= 7.0F;
  const MemorySignal loud(std::move(samples));
  heard.tracks[2].signal = &loud;
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  EXPECT_EQ(placings->tracks[2].standing, Standing::firm);
  EXPECT_LT(heard.worst_error_us(2, placings->tracks[2]), 10.0);
}

TEST(Align, LeavesATrackOfAnotherSessionUnplacedAndTheOthersUnharmed) {
  Heard heard = hear(simulator::hybrid_session(5, 100.0, 2, 1));
  const Heard other = hear(simulator::hybrid_session(6, 100.0, 1, 1));
  heard.tracks.push_back(other.tracks[0]);
  heard.tracks.push_back(other.tracks[1]);
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  for (std::size_t k = 0; k < 3; ++k) {
    EXPECT_EQ(placings->tracks[k].standing, Standing::firm);
    EXPECT_LT(heard.worst_error_us(k, placings->tracks[k]), 10.0);
  }
  EXPECT_EQ(placings->tracks[3].standing, Standing::unplaced);
  EXPECT_EQ(placings->tracks[4].standing, Standing::unplaced);
  EXPECT_FALSE(placings->tracks[3].map);
}

TEST(Align, SaysThatATrackIsInverted) {
  auto spec = simulator::hybrid_session(7, 90.0, 2, 0);
  spec.people[1].inverted = true;
  const Heard heard = hear(spec);
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  EXPECT_FALSE(placings->tracks[0].inverted);
  EXPECT_TRUE(placings->tracks[1].inverted);
  EXPECT_LT(heard.worst_error_us(1, placings->tracks[1]), 10.0);
}

TEST(Align, GivesTheSameBitsForAnyThreadCount) {
  const Heard heard = hear(simulator::hybrid_session(9, 80.0, 2, 1));
  const auto one = align(heard.mix_input(), heard.tracks, with_threads(1));
  const auto five = align(heard.mix_input(), heard.tracks, with_threads(5));
  ASSERT_TRUE(one && five);
  for (std::size_t k = 0; k < one->tracks.size(); ++k) {
    ASSERT_TRUE(one->tracks[k].map && five->tracks[k].map);
    EXPECT_EQ(one->tracks[k].map->start_s(), five->tracks[k].map->start_s());
    EXPECT_EQ(one->tracks[k].map->drift_ppm(), five->tracks[k].map->drift_ppm());
    EXPECT_EQ(one->tracks[k].uncertainty_us, five->tracks[k].uncertainty_us);
    EXPECT_EQ(one->tracks[k].standing, five->tracks[k].standing);
    EXPECT_EQ(one->tracks[k].inverted, five->tracks[k].inverted);
    EXPECT_EQ(one->tracks[k].remote, five->tracks[k].remote);
    ASSERT_EQ(one->tracks[k].windows.size(), five->tracks[k].windows.size());
    for (std::size_t w = 0; w < one->tracks[k].windows.size(); ++w)
      EXPECT_EQ(one->tracks[k].windows[w].offset_us, five->tracks[k].windows[w].offset_us);
  }
}

TEST(Align, CallsATrackHeardOnceShakyAndSaysWhy) {
  // The guest's recording is cut to one utterance and the pauses round it.
  const Heard heard = hear(simulator::hybrid_session(5, 100.0, 2, 1));
  const auto said = std::find_if(heard.sound.talk.begin(), heard.sound.talk.end(),
                                 [](const simulator::Utterance& u) {
                                   return u.person == 2 && u.line_from_s > 20.0 && u.length_s > 3.0;
                                 });
  ASSERT_NE(said, heard.sound.talk.end());
  std::vector<float> all(static_cast<std::size_t>(heard.signals[2]->frames()));
  ASSERT_TRUE(heard.signals[2]->read(0, all));
  const double from_s = said->line_from_s - heard.sound.line_of(2, 0.0);
  const auto first = all.begin() + static_cast<std::ptrdiff_t>(from_s * kAnalysisRateHz);
  const auto frames = static_cast<std::ptrdiff_t>(said->length_s * kAnalysisRateHz);
  const MemorySignal snippet(std::vector<float>(first, first + frames));
  std::vector<TrackInput> tracks{heard.tracks[0], heard.tracks[1]};
  tracks.push_back({"snippet", &snippet, said->length_s, false});
  const auto placings = align(heard.mix_input(), tracks, with_threads(2));
  ASSERT_TRUE(placings);
  const TrackPlacing& placing = placings->tracks[2];
  EXPECT_NE(placing.standing, Standing::firm);
  if (placing.standing == Standing::shaky) {
    EXPECT_NEAR(placing.map->start_s(), heard.sound.line_of(2, from_s), 0.0005);
    ASSERT_EQ(placing.findings.size(), 1U);
    EXPECT_EQ(placing.findings[0].code, "thin-evidence");
    EXPECT_NE(placing.findings[0].text.find("stretch"), std::string::npos);
  }
}

struct LossCase {
  const char* name;
  std::size_t track;
  double lost_s;
};
class ATrackThatLostAStretch : public testing::TestWithParam<LossCase> {};

// What stands on both sides of the loss is found on both: each side lies where it was, and a seam
// of the right size lies between.
TEST_P(ATrackThatLostAStretch, IsRightOnBothSides) {
  Heard heard = hear(simulator::hybrid_session(27, 100.0, 2, 1));
  const auto [name, track, lost_s] = GetParam();
  const MemorySignal& whole = *heard.signals[track];
  std::vector<float> samples(static_cast<std::size_t>(whole.frames()));
  ASSERT_TRUE(whole.read(0, samples));
  const auto at = samples.begin() + std::ssize(samples) / 2;
  samples.erase(at, at + static_cast<std::ptrdiff_t>(lost_s * kAnalysisRateHz));
  const double left_s = static_cast<double>(samples.size()) / kAnalysisRateHz;
  const MemorySignal holed(std::move(samples));
  heard.tracks[track].signal = &holed;
  heard.tracks[track].length_s = left_s;
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  const TrackPlacing& holed_track = placings->tracks[track];
  ASSERT_TRUE(holed_track.map);
  // The cut is found within the pause that it lies in: look well away from it.
  const double cut_s = 0.5 * static_cast<double>(whole.frames()) / kAnalysisRateHz;
  for (const double track_s : {5.0, 20.0, left_s - 15.0, left_s - 5.0}) {
    const double whole_s = track_s < cut_s ? track_s : track_s + lost_s;
    const auto line_s = holed_track.map->to_line(track_s);
    ASSERT_TRUE(line_s) << track_s;
    EXPECT_NEAR(*line_s, heard.sound.line_of(track, whole_s), 50e-6) << track_s;
  }
  const auto seam = std::find_if(holed_track.findings.begin(), holed_track.findings.end(),
                                 [](const Finding& finding) { return finding.code == "seam"; });
  ASSERT_NE(seam, holed_track.findings.end());
  const double step_s =
      heard.sound.line_of(track, cut_s + lost_s) - heard.sound.line_of(track, cut_s);
  EXPECT_NEAR(seam->step_s.value_or(0.0), step_s, 100e-6);
  for (std::size_t k = 0; k < placings->tracks.size(); ++k) {
    if (k == track || placings->tracks[k].standing != Standing::firm) continue;
    EXPECT_LT(heard.worst_error_us(k, placings->tracks[k]), 1000.0) << heard.tracks[k].name;
  }
}

INSTANTIATE_TEST_SUITE_P(Sizes, ATrackThatLostAStretch,
                         testing::Values(LossCase{"ThreeMillisecondsOfAGuest", 2, 0.003},
                                         LossCase{"ThirtyMillisecondsOfAGuest", 2, 0.030},
                                         LossCase{"TwoSecondsOfAGuest", 2, 2.0},
                                         LossCase{"TenSecondsOfAMicrophone", 1, 10.0}),
                         [](const auto& each) { return each.param.name; });

std::vector<std::string> codes_of(const std::vector<Finding>& findings) {
  std::vector<std::string> codes;
  for (const Finding& finding : findings) codes.push_back(finding.code);
  return codes;
}

// What the mix holds late, and skips to catch up, the file has whole.
TEST(Align, KeepsAGuestOnOneLineWhomTheNetworkHeldBackForSeconds) {
  simulator::SessionSpec spec = simulator::hybrid_session(31, 150.0, 1, 2);
  simulator::Stream& stream = spec.people[1].stream;
  stream.steps = {{50.0, 1.2}, {100.0, -1.2}};
  stream.steps_in_pauses = false;
  const Heard heard = hear(spec);
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  for (std::size_t k = 0; k < placings->tracks.size(); ++k) {
    ASSERT_EQ(placings->tracks[k].standing, Standing::firm) << heard.tracks[k].name;
    EXPECT_EQ(placings->tracks[k].map->spans().size(), 1U) << heard.tracks[k].name;
    for (const double line_s : {10.0, 40.0, 110.0, 140.0}) {
      const auto track_s = placings->tracks[k].map->to_track(line_s);
      ASSERT_TRUE(track_s);
      EXPECT_NEAR(heard.sound.line_of(k, *track_s), line_s, 30e-6) << heard.tracks[k].name;
    }
  }
  EXPECT_EQ(codes_of(placings->tracks[1].findings), (std::vector<std::string>{"excursion"}));
  EXPECT_TRUE(placings->mix_findings.empty());
  EXPECT_TRUE(placings->findings.empty()) << placings->findings.front().text;
}

/// The same talk with another mix; its seconds lie `later_s` further on.
Alignment align_with_mix(Heard& heard, std::vector<float> mix, double later_s) {
  heard.sound.mix = std::move(mix);
  heard.mix = test::reduce(heard.sound.mix, heard.sound.mix_rate_hz);
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  EXPECT_TRUE(placings);
  if (!placings) return {};
  for (std::size_t k = 0; k < placings->tracks.size(); ++k) {
    EXPECT_EQ(placings->tracks[k].standing, Standing::firm) << heard.tracks[k].name;
    if (!placings->tracks[k].map) continue;
    EXPECT_EQ(placings->tracks[k].map->spans().size(), 1U) << heard.tracks[k].name;
    for (const double track_s : {30.0, 60.0, 120.0})
      EXPECT_NEAR(placings->tracks[k].map->to_line(track_s).value(),
                  heard.sound.line_of(k, track_s) + later_s, 20e-6)
          << heard.tracks[k].name;
  }
  return *placings;
}

TEST(Align, TakesATeaserAtTheFrontOfTheMixForNoLossOfAllThatLiesBetween) {
  Heard heard = hear(simulator::hybrid_session(7, 180.0, 2, 1));
  const auto rate_hz = static_cast<std::ptrdiff_t>(heard.sound.mix_rate_hz);
  const std::vector<float>& talk = heard.sound.mix;
  std::vector<float> mix(talk.begin() + 115 * rate_hz, talk.begin() + 127 * rate_hz);
  mix.resize(static_cast<std::size_t>(18 * rate_hz), 0.0F);
  mix.insert(mix.end(), talk.begin(), talk.end());
  const Alignment placings = align_with_mix(heard, std::move(mix), 18.0);
  EXPECT_TRUE(placings.mix_findings.empty());
  EXPECT_EQ(codes_of(placings.findings), (std::vector<std::string>{"mix-repeat"}));
}

TEST(Align, DoubtsEveryTrackWhereTheMixHoldsTheWholeShowTwice) {
  for (const std::uint64_t seed : {7U, 44U}) {
    const Heard heard = hear(simulator::hybrid_session(seed, 120.0, 2, 1));
    std::vector<float> mix = heard.sound.mix;
    mix.insert(mix.end(), heard.sound.mix.begin(), heard.sound.mix.end());
    const auto signal = test::reduce(mix, heard.sound.mix_rate_hz);
    const auto placings =
        align({signal.get(), static_cast<double>(mix.size()) / heard.sound.mix_rate_hz, false},
              heard.tracks, with_threads(2));
    ASSERT_TRUE(placings);
    for (std::size_t k = 0; k < heard.tracks.size(); ++k)
      EXPECT_NE(placings->tracks[k].standing, Standing::firm) << seed << heard.tracks[k].name;
  }
}

TEST(Align, DoubtsNobodyWhoTalksWhileTheMixHoldsSilenceInFrontOfTheShowAndBehindIt) {
  Heard heard = hear(simulator::hybrid_session(8, 180.0, 2, 1));
  const auto rate_hz = static_cast<std::ptrdiff_t>(heard.sound.mix_rate_hz);
  std::vector<float> mix = heard.sound.mix;
  std::fill(mix.begin(), mix.begin() + 20 * rate_hz, 0.0F);
  std::fill(mix.end() - 20 * rate_hz, mix.end(), 0.0F);
  EXPECT_TRUE(align_with_mix(heard, std::move(mix), 0.0).mix_findings.empty());
}

/// The mix repeats `length_s` of itself at `at_s`, or loses them where they are below 0.
struct MixCase {
  const char* name;
  std::uint64_t seed;
  double at_s;
  double length_s;
  int in_the_room{3};
};
class AMixThatMoved : public testing::TestWithParam<MixCase> {};

// Short enough for a steep drift to take it up, or while one guest alone talks.
TEST_P(AMixThatMoved, IsToldAndKeepsEveryTrackFirm) {
  const auto [name, seed, at_s, length_s, in_the_room] = GetParam();
  Heard heard = hear(simulator::hybrid_session(seed, 180.0, in_the_room, 2));
  const double lost_s = -length_s;
  const double whole_s = heard.mix_input().length_s;
  auto& mix = heard.sound.mix;
  const auto at = mix.begin() + static_cast<std::ptrdiff_t>(at_s * heard.sound.mix_rate_hz);
  const auto end = at + static_cast<std::ptrdiff_t>(std::abs(length_s) * heard.sound.mix_rate_hz);
  if (lost_s > 0.0) {
    mix.erase(at, end);
  } else {
    const std::vector<float> twice(at, end);
    mix.insert(end, twice.begin(), twice.end());
  }
  heard.mix = test::reduce(mix, heard.sound.mix_rate_hz);
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  ASSERT_EQ(placings->mix_findings.size(), 1U);
  EXPECT_EQ(placings->mix_findings[0].code, "mix-seam");
  EXPECT_NEAR(placings->mix_findings[0].step_s.value_or(0.0), lost_s, 100e-6);
  ASSERT_EQ(placings->mix_spans.size(), 2U);
  const double told_s = placings->mix_spans.front().to_s;
  EXPECT_NEAR(told_s, lost_s > 0.0 ? at_s : at_s + length_s, 0.25);
  for (std::size_t k = 0; k < placings->tracks.size(); ++k) {
    ASSERT_EQ(placings->tracks[k].standing, Standing::firm) << heard.tracks[k].name;
    for (const double line_s : {10.0, 60.0, 100.0, whole_s - 10.0}) {
      const auto track_s = placings->tracks[k].map->to_track(line_s);
      if (!track_s) continue;
      EXPECT_NEAR(heard.sound.line_of(k, *track_s), line_s, 20e-6) << heard.tracks[k].name;
    }
  }
}

INSTANTIATE_TEST_SUITE_P(Cases, AMixThatMoved,
                         testing::Values(MixCase{"WhileAGuestBegins", 1, 70.0, 0.06},
                                         MixCase{"AmongOneRecordersVoices", 1, 30.0, 0.06},
                                         MixCase{"LostAsMuchAsADriftMight", 1, 72.0, -0.06},
                                         MixCase{"LostLessStill", 1, 72.0, -0.03},
                                         MixCase{"InAGuestsFirstWord", 2, 80.0, 0.06},
                                         MixCase{"LostAMinute", 4, 62.0, -60.0},
                                         MixCase{"LostAMinuteSooner", 12, 45.0, -60.0},
                                         MixCase{"LostAWordOrTwo", 9, 45.0, -5.0, 2},
                                         MixCase{"LostTwentySeconds", 4, 90.0, -20.0, 2}),
                         [](const auto& each) { return each.param.name; });

TEST(Align, PlacesAGuestOfAnotherRateUnderAMixWithAWrongHeader) {
  Heard heard = hear(simulator::hybrid_session(1, 180.0, 3, 2));
  for (std::size_t k = 0; k < heard.tracks.size(); ++k)
    heard.tracks[k].rate_hz = heard.sound.tracks[k].clock.rate_hz;
  ASSERT_NE(heard.tracks[3].rate_hz, heard.tracks[0].rate_hz);
  const double slow = heard.sound.mix_rate_hz / 44100.0;
  heard.sound.mix_rate_hz = 44100.0;
  heard.mix = test::reduce(heard.sound.mix, heard.sound.mix_rate_hz);
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  for (std::size_t k = 0; k < placings->tracks.size(); ++k) {
    ASSERT_EQ(placings->tracks[k].standing, Standing::firm) << heard.tracks[k].name;
    EXPECT_NEAR(*placings->tracks[k].map->to_line(100.0), slow * heard.sound.line_of(k, 100.0),
                100e-6)
        << heard.tracks[k].name;
  }
}

/// Who says something when, in a session of 100 s: from, for how long.
simulator::SessionSpec scripted(const std::vector<std::vector<simulator::Words>>& words) {
  simulator::SessionSpec spec = simulator::hybrid_session(5, 100.0, 2, 1);
  for (auto& recorder : spec.recorders) recorder.start_s = -2.0;
  for (std::size_t k = 0; k < words.size(); ++k) spec.people[k].words = words[k];
  return spec;
}

/// A loss of `lost_s` at `at_s` of the mix, and what is placed then.
struct Lost {
  Heard heard;
  std::unique_ptr<MemorySignal> holed;
  Result<Alignment> placings;
};

Lost lose(const simulator::SessionSpec& spec, std::size_t track, double at_s, double lost_s) {
  Heard heard = hear(spec);
  std::vector<float> samples(static_cast<std::size_t>(heard.signals[track]->frames()));
  EXPECT_TRUE(heard.signals[track]->read(0, samples));
  const double track_s = at_s - heard.sound.line_of(track, 0.0);
  const auto at = samples.begin() + static_cast<std::ptrdiff_t>(track_s * kAnalysisRateHz);
  samples.erase(at, at + static_cast<std::ptrdiff_t>(lost_s * kAnalysisRateHz));
  heard.tracks[track].length_s = static_cast<double>(samples.size()) / kAnalysisRateHz;
  auto holed = std::make_unique<MemorySignal>(std::move(samples));
  heard.tracks[track].signal = holed.get();
  auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  return {std::move(heard), std::move(holed), std::move(placings)};
}

TEST(Align, DoesNotTakeAGuestsLossForTheMixsThoughNobodyElseRanBefore) {
  auto spec =
      scripted({{{10.0, 4.0}, {26.0, 6.0}, {48.0, 6.0}, {70.0, 6.0}, {90.0, 3.0}},
                {{14.5, 4.0}, {33.0, 6.0}, {55.0, 6.0}, {77.0, 6.0}},
                {{1.0, 6.0}, {19.0, 5.0}, {40.0, 7.0}, {62.0, 6.0}, {84.0, 5.0}, {94.0, 4.0}}});
  spec.recorders[0].start_s = 8.0;
  const Lost lost = lose(spec, 2, 8.5, 7.0);
  ASSERT_TRUE(lost.placings);
  for (std::size_t k = 0; k < 2; ++k) {
    EXPECT_EQ(lost.placings->tracks[k].standing, Standing::firm) << k;
    EXPECT_LT(lost.heard.worst_error_us(k, lost.placings->tracks[k]), 20.0) << k;
  }
  EXPECT_TRUE(lost.placings->mix_findings.empty());
  const TrackPlacing& guest = lost.placings->tracks[2];
  ASSERT_TRUE(guest.map);
  ASSERT_EQ(guest.map->spans().size(), 2U);
  EXPECT_NEAR(*guest.map->to_line(4.0), lost.heard.sound.line_of(2, 4.0), 50e-6);
  EXPECT_NEAR(*guest.map->to_line(40.0), lost.heard.sound.line_of(2, 47.0), 50e-6);
}

class BeforeAllRecorders : public testing::TestWithParam<std::pair<const char*, bool>> {};

TEST_P(BeforeAllRecorders, TalkIsToldAndAJingleIsNot) {
  const bool talk = GetParam().second;
  auto spec = scripted({{{30.0, 6.0}, {48.0, 6.0}, {70.0, 6.0}, {90.0, 3.0}},
                        {{37.0, 6.0}, {55.0, 6.0}, {77.0, 6.0}},
                        {{24.0, 5.0}, {42.0, 6.0}, {62.0, 6.0}, {84.0, 5.0}}});
  if (talk)
    spec.people[0].words.insert(spec.people[0].words.begin(), simulator::Words{2.0, 15.0});
  else
    spec.mix.music.jingles = {{2.0, 15.0, -20.0}};
  for (auto& recorder : spec.recorders) recorder.start_s = 21.0;
  const Heard heard = hear(spec);
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_TRUE(placings);
  const auto codes = talk ? std::vector<std::string>{"unrecorded"} : std::vector<std::string>{};
  ASSERT_EQ(codes_of(placings->findings), codes);
  if (!talk) return;
  const auto& stretches = placings->findings.front().stretches;
  EXPECT_LT(stretches.front().line_from_s, 4.0);
  EXPECT_NEAR(stretches.back().line_to_s, 17.0, 2.0);
}

INSTANTIATE_TEST_SUITE_P(Cases, BeforeAllRecorders,
                         testing::Values(std::pair{"Talk", true}, std::pair{"Jingle", false}),
                         [](const auto& each) { return each.param.first; });

TEST(Align, FindsThePlaceOfSomeWordsBeforeALongLoss) {
  const auto spec =
      scripted({{{0.5, 7.0}, {30.0, 6.0}, {48.0, 6.0}, {70.0, 6.0}, {90.0, 3.0}},
                {{14.5, 4.0}, {37.0, 6.0}, {55.0, 6.0}, {77.0, 6.0}},
                {{9.0, 5.0}, {19.0, 5.0}, {42.0, 6.0}, {62.0, 6.0}, {84.0, 5.0}, {94.0, 4.0}}});
  const Lost lost = lose(spec, 0, 8.5, 15.0);
  ASSERT_TRUE(lost.placings);
  const TrackPlacing& keeper = lost.placings->tracks[0];
  ASSERT_TRUE(keeper.map);
  EXPECT_NEAR(*keeper.map->to_line(5.0), lost.heard.sound.line_of(0, 5.0), 50e-6);
  EXPECT_NEAR(*keeper.map->to_line(50.0), lost.heard.sound.line_of(0, 65.0), 50e-6);
  for (std::size_t k = 1; k < 3; ++k)
    EXPECT_LT(lost.heard.worst_error_us(k, lost.placings->tracks[k]), 20.0) << k;
}

TEST(Align, DoubtsAMicrophoneWhoseTalkAtItsBeginningTheMixDoesNotHold) {
  // Its first words were said before the mix began: the mix cannot tell where they belong.
  auto spec = scripted({{{30.0, 6.0}, {48.0, 6.0}, {70.0, 6.0}, {90.0, 3.0}},
                        {{-12.0, 10.0}, {37.0, 6.0}, {55.0, 6.0}, {77.0, 6.0}},
                        {{2.0, 5.0}, {19.0, 5.0}, {42.0, 6.0}, {62.0, 6.0}, {84.0, 5.0}}});
  for (auto& recorder : spec.recorders) recorder.start_s = -14.0;
  const Lost lost = lose(spec, 1, 8.5, 15.0);
  ASSERT_TRUE(lost.placings);
  EXPECT_NE(lost.placings->tracks[1].standing, Standing::firm);
  EXPECT_EQ(lost.placings->tracks[0].standing, Standing::firm);
  EXPECT_EQ(lost.placings->tracks[2].standing, Standing::firm);
}

TEST(Align, LeavesSilenceAndNothingUnplaced) {
  Heard heard = hear(simulator::hybrid_session(11, 60.0, 1, 0));
  const MemorySignal silence(std::vector<float>(60 * kAnalysisRateHz, 0.0F));
  const MemorySignal nothing({});
  heard.tracks.push_back({"silence", &silence, 60.0, false});
  heard.tracks.push_back({"nothing", &nothing, 0.0, false});
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(1));
  ASSERT_TRUE(placings);
  EXPECT_EQ(placings->tracks[0].standing, Standing::firm);
  EXPECT_EQ(placings->tracks[1].standing, Standing::unplaced);
  EXPECT_EQ(placings->tracks[2].standing, Standing::unplaced);
}

TEST(Align, GivesUpWhenAsked) {
  const Heard heard = hear(simulator::hybrid_session(11, 60.0, 1, 0));
  const std::atomic<bool> stop{true};
  AlignOptions options = with_threads(1);
  options.stop = &stop;
  const auto placings = align(heard.mix_input(), heard.tracks, options);
  ASSERT_FALSE(placings);
  EXPECT_EQ(placings.error().kind, ErrorKind::interrupted);
}

/// A user who presses Ctrl-C while a long file is being listened to.
class StoppingSignal final : public AnalysisSignal {
 public:
  explicit StoppingSignal(std::atomic<bool>& stop) : stop_(stop) {}
  std::int64_t frames() const override { return 36000LL * kAnalysisRateHz; }
  Result<void> read(std::int64_t, std::span<float> out) const override {
    std::fill(out.begin(), out.end(), 0.1F);
    if (++reads_ == 3) stop_.store(true);
    return {};
  }
  int reads() const { return reads_; }

 private:
  std::atomic<bool>& stop_;
  mutable std::atomic<int> reads_{0};
};

TEST(Align, GivesUpInTheMiddleOfALongFile) {
  const Heard heard = hear(simulator::hybrid_session(11, 60.0, 1, 0));
  std::atomic<bool> stop{false};
  const StoppingSignal ten_hours(stop);
  AlignOptions options = with_threads(1);
  options.stop = &stop;
  const auto placings =
      align(heard.mix_input(), {{"ten hours", &ten_hours, 36000.0, false}}, options);
  ASSERT_FALSE(placings);
  EXPECT_EQ(placings.error().kind, ErrorKind::interrupted);
  EXPECT_LT(ten_hours.reads(), 6);
}

/// A user who presses Ctrl-C at a given read of any of a session's signals.
class WatchedSignal final : public AnalysisSignal {
 public:
  struct Watch {
    int stop_at{0};  // 0: never
    int reads{0};
    std::atomic<bool> stop{false};
  };
  WatchedSignal(const AnalysisSignal& signal, Watch& watch) : signal_(signal), watch_(watch) {}
  std::int64_t frames() const override { return signal_.frames(); }
  Result<void> read(std::int64_t first, std::span<float> out) const override {
    if (++watch_.reads == watch_.stop_at) watch_.stop.store(true);
    return signal_.read(first, out);
  }

 private:
  const AnalysisSignal& signal_;
  Watch& watch_;
};

TEST(Align, ReadsNothingMoreOnceItIsToldToStop) {
  Heard heard = hear(simulator::hybrid_session(27, 100.0, 2, 1));
  auto& sound = heard.sound.mix;  // from its middle it holds two seconds twice: a seam to place
  const std::vector<float> twice(sound.begin() + std::ssize(sound) / 2,
                                 sound.begin() + std::ssize(sound) / 2 + 96000);
  sound.insert(sound.begin() + std::ssize(sound) / 2, twice.begin(), twice.end());
  heard.mix = test::reduce(sound, heard.sound.mix_rate_hz);
  const auto reads_until_stop = [&](int stop_at, bool& gave_up) {
    WatchedSignal::Watch watch{stop_at};
    MixInput mix = heard.mix_input();
    std::vector<TrackInput> tracks = heard.tracks;
    std::vector<std::unique_ptr<WatchedSignal>> watched;
    const auto put_under_watch = [&](const AnalysisSignal*& signal) {
      watched.push_back(std::make_unique<WatchedSignal>(*signal, watch));
      signal = watched.back().get();
    };
    put_under_watch(mix.signal);
    for (TrackInput& track : tracks) put_under_watch(track.signal);
    AlignOptions options = with_threads(1);
    options.stop = &watch.stop;
    const auto placings = align(mix, tracks, options);
    gave_up = !placings && placings.error().kind == ErrorKind::interrupted;
    return watch.reads;
  };
  bool gave_up = false;
  const int all = reads_until_stop(0, gave_up);
  ASSERT_FALSE(gave_up);
  for (int part = 1; part < 8; ++part) {
    const int stop_at = all * part / 8;
    EXPECT_EQ(reads_until_stop(stop_at, gave_up), stop_at);
    EXPECT_TRUE(gave_up) << stop_at << " of " << all << " reads";
  }
}

/// A disk that fails.
class FailingSignal final : public AnalysisSignal {
 public:
  std::int64_t frames() const override { return 60 * kAnalysisRateHz; }
  Result<void> read(std::int64_t, std::span<float>) const override {
    return Error{ErrorKind::unreadable, "mic.wav", "cannot be read", "try again"};
  }
};

TEST(Align, HandsOnAReadErrorWithItsFile) {
  Heard heard = hear(simulator::hybrid_session(11, 60.0, 1, 0));
  const FailingSignal failing;
  heard.tracks.push_back({"failing", &failing, 60.0, false});
  const auto placings = align(heard.mix_input(), heard.tracks, with_threads(2));
  ASSERT_FALSE(placings);
  EXPECT_EQ(placings.error().file, "mic.wav");
}

}  // namespace
}  // namespace kilter::sync
