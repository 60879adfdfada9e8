// What reaches a recorder besides the person's own voice.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <ostream>

#include "simulator.h"
#include "sound_delay.h"

namespace kilter::simulator {
namespace {

double level_db(std::span<const float> sound) {
  double energy = 0.0;
  for (const float x : sound) energy += static_cast<double>(x) * x;
  return 10.0 * std::log10(energy / static_cast<double>(sound.size()) + 1e-30);
}

/// All on clocks without drift that start with the mix, so that samples compare one to one.
SessionSpec level_session(std::uint64_t seed, int room, int remote) {
  SessionSpec spec = hybrid_session(seed, 20.0, room, remote);
  for (Clock& clock : spec.recorders) {
    clock.rate_hz = 48000.0;
    clock.drift_ppm = 0.0;
    clock.start_s = 0.0;
  }
  return spec;
}

Session make(const SessionSpec& spec) {
  auto session = simulate(spec, SyntheticVoices(spec.seed), 2);
  EXPECT_TRUE(session);
  return *std::move(session);
}

TEST(Patching, RecordsZerosFromASilentInputAndNoiseFromADeadOne) {
  SessionSpec spec = level_session(41, 3, 0);
  spec.people[1].input = Input::silent;
  spec.people[2].input = Input::dead;
  spec.people[2].recorder_noise_db = -90.0;
  const Session session = make(spec);
  for (const float x : session.tracks[1].samples) ASSERT_EQ(x, 0.0F);
  EXPECT_NEAR(level_db(session.tracks[2].samples), -90.0, 0.1);
  for (const Utterance& u : session.talk) ASSERT_EQ(u.person, 0);  // nobody sits there
}

TEST(Patching, LeavesAGuestsVoiceInTheMixWhenHisRecorderGotNothing) {
  SessionSpec spec = level_session(42, 1, 1);
  spec.people[0].talk_share = 0.0;
  const Session live = make(spec);
  spec.people[1].input = Input::silent;
  const Session silent = make(spec);
  EXPECT_EQ(live.mix, silent.mix);
  EXPECT_EQ(level_db(silent.tracks[1].samples), level_db(std::vector<float>(1)));
}

TEST(Patching, CopiesSampleForSample) {
  SessionSpec spec = level_session(43, 2, 0);
  spec.people[1].input = Input::copy;
  const Session same = make(spec);
  EXPECT_EQ(same.tracks[0].samples, same.tracks[1].samples);
  spec.people[1].copy_gain_db = -6.0;
  const Session weaker = make(spec);
  const float gain = static_cast<float>(std::pow(10.0, -0.3));
  for (std::size_t i = 0; i < 48000; ++i)
    ASSERT_FLOAT_EQ(weaker.tracks[1].samples[i], gain * weaker.tracks[0].samples[i]);
  EXPECT_EQ(same.mix, weaker.mix);  // only the original is in it
}

TEST(Patching, GivesACopyItsOwnNoiseWhenAsked) {
  SessionSpec spec = level_session(43, 2, 0);
  spec.people[0].recorder_noise_db = -80.0;
  spec.people[1].input = Input::copy;
  spec.people[1].copy_fresh_noise = true;
  const Session session = make(spec);
  std::vector<float> difference = session.tracks[0].samples;
  for (std::size_t i = 0; i < difference.size(); ++i) difference[i] -= session.tracks[1].samples[i];
  EXPECT_NEAR(level_db(difference), -77.0, 0.1);  // two noises
}

TEST(Patching, SumsTheRoomForTheMixersMix) {
  for (const bool returns : {false, true}) {
    SessionSpec spec = level_session(44, 3, 1);
    for (Person& person : spec.people) person.recorder_noise_db = -300.0;
    spec.people[2].input = Input::mixer_mix;
    spec.people[2].mixer_has_returns = returns;
    const Session session = make(spec);
    // The guest's way is clean here, so the mix gets what his recorder gets.
    double worst = 0.0;
    for (std::size_t i = 1000; i + 1000 < session.tracks[2].samples.size(); ++i) {
      const float room = session.tracks[0].samples[i] + session.tracks[1].samples[i];
      const float sum = room + (returns ? session.tracks[3].samples[i] : 0.0F);
      worst = std::max(worst, static_cast<double>(std::abs(session.tracks[2].samples[i] - sum)));
    }
    EXPECT_LT(worst, 1e-5) << returns;  // floats, and the interpolator at its grid points
  }
}

struct LeakCase {
  const char* name;
  int into;
  Leak leak;
};
void PrintTo(const LeakCase& c, std::ostream* out) { *out << c.name; }

class Leaking : public testing::TestWithParam<LeakCase> {};

/// One of the room (0) and one guest (1); only he speaks whose voice leaks.
TEST_P(Leaking, HasTheOrderedDelayAndLevel) {
  const LeakCase& c = GetParam();
  SessionSpec spec = level_session(45, 1, 1);
  for (Person& person : spec.people) {
    person.noise_db = -120.0;
    person.talk_share = 0.0;
  }
  spec.people[static_cast<std::size_t>(c.leak.from)].talk_share = 0.8;
  const Session dry = make(spec);
  spec.people[static_cast<std::size_t>(c.into)].leaks = {c.leak};
  const Session wet = make(spec);
  const std::vector<float>& voice = dry.tracks[static_cast<std::size_t>(c.leak.from)].samples;
  // What came in addition, moved back by most of its delay, which the measure could not span.
  std::vector<float> leaked = wet.tracks[static_cast<std::size_t>(c.into)].samples;
  for (std::size_t i = 0; i < leaked.size(); ++i)
    leaked[i] -= dry.tracks[static_cast<std::size_t>(c.into)].samples[i];
  const auto whole = static_cast<std::ptrdiff_t>(std::lround(c.leak.delay_s * 48000.0));
  leaked.erase(leaked.begin(), leaked.begin() + whole);
  const std::span<const float> same_length = std::span(voice).first(leaked.size());
  // A dull loudspeaker's filter is 10 to 30 us late.
  EXPECT_NEAR(mean_delay_s(same_length, leaked, 48000.0), c.leak.dull ? 2e-5 : 0.0,
              c.leak.dull ? 1.5e-5 : 1e-6);
  EXPECT_NEAR(level_db(leaked) - level_db(same_length), c.leak.level_db, c.leak.dull ? 1.5 : 0.1);
  EXPECT_EQ(dry.mix == wet.mix, !c.leak.in_mix);
}

INSTANTIATE_TEST_SUITE_P(
    All, Leaking,
    testing::Values(LeakCase{"TheRoomIntoAGuestsFile", 1, {0, 0.25, -20.0, false, false}},
                    LeakCase{"TheRoomIntoAGuestsFileDull", 1, {0, 0.08, -20.0, true, false}},
                    LeakCase{"AGuestIntoARoomMicrophone", 0, {1, 0.012, -25.0, false, false}},
                    LeakCase{"AGuestIntoARoomMicrophoneAndTheMix", 0, {1, 0.03, -25.0, true, true}},
                    LeakCase{"AReturnLoop", 1, {1, 0.4, -18.0, false, false}}),
    [](const auto& each) { return each.param.name; });

TEST(Leaking, BringsAGuestAsHisStreamLeftHim) {
  SessionSpec spec = level_session(46, 1, 1);
  spec.people[0].talk_share = 0.0;
  spec.people[0].noise_db = -120.0;
  spec.people[0].leaks = {{1, 0.02, 0.0, false, false}};
  spec.people[1].stream.steps = {{0.5, 0.05}};
  spec.people[1].stream.steps_in_pauses = false;
  const Session session = make(spec);
  const std::span<const float> guest(session.tracks[1].samples);
  const std::span<const float> room(session.tracks[0].samples);
  EXPECT_NEAR(
      mean_delay_s(guest.subspan(48000, 48000 * 15), room.subspan(48000, 48000 * 15), 48000), 0.07,
      1e-6);
}

TEST(Takes, OfOnePersonShareWhatHeSays) {
  SessionSpec spec = hybrid_session(47, 120.0, 1, 2);
  spec.people[2].voice = 1;
  spec.recorders[1].start_s = -2.0;
  spec.recorders[1].length_s = 62.0;
  spec.recorders[2].start_s = 70.0;
  const Session session = make(spec);
  int first = 0;
  int second = 0;
  for (const Utterance& u : session.talk) {
    if (u.person == 1) {
      ++first;
      EXPECT_LT(u.line_from_s + u.length_s, 60.1);
    }
    if (u.person == 2) {
      ++second;
      EXPECT_GE(u.line_from_s, 70.0);
    }
  }
  EXPECT_GT(first, 3);
  EXPECT_GT(second, 3);
}

TEST(Guests, AreSilentOutsideTheirRecordingWhenTheyComeAndGo) {
  SessionSpec spec = hybrid_session(48, 60.0, 1, 1);
  spec.people[1].comes_and_goes = true;
  spec.recorders[1].start_s = 30.0;
  int said = 0;
  for (const Utterance& u : make(spec).talk)
    if (u.person == 1) {
      ++said;
      EXPECT_GE(u.line_from_s, 30.0);
    }
  EXPECT_GT(said, 0);
}

TEST(Guests, SayJustTheWordsThatAreOrdered) {
  SessionSpec spec = hybrid_session(49, 60.0, 1, 1);
  spec.people[1].words = {{20.0, 2.5}, {41.0, 1.5}};
  std::vector<Utterance> said;
  for (const Utterance& u : make(spec).talk)
    if (u.person == 1) said.push_back(u);
  ASSERT_EQ(said.size(), 2U);
  EXPECT_EQ(said[0].line_from_s, 20.0);
  EXPECT_EQ(said[1].length_s, 1.5);
}

TEST(Withheld, FilesAreMissingButHeard) {
  SessionSpec spec = hybrid_session(50, 20.0, 1, 1);
  const Session all = make(spec);
  spec.people[1].withheld = true;
  const Session without = make(spec);
  EXPECT_EQ(all.mix, without.mix);
  EXPECT_TRUE(without.tracks[1].withheld);
  EXPECT_TRUE(without.tracks[1].samples.empty());
}

}  // namespace
}  // namespace kilter::simulator
