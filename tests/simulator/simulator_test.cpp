#include "simulator.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <ostream>

#include "sound_delay.h"

namespace kilter::simulator {
namespace {

/// Everybody sings one note, so that what a recorder hears at any instant can be written down.
class Note final : public VoiceSource {
 public:
  explicit Note(double hz) : hz_(hz) {}
  double at(double since_s) const { return std::sin(2.0 * std::numbers::pi * hz_ * since_s); }
  std::vector<float> utterance(int, int, std::int64_t frames) const override {
    std::vector<float> out(static_cast<std::size_t>(frames));
    for (std::size_t i = 0; i < out.size(); ++i)
      out[i] = static_cast<float>(at(static_cast<double>(i) / kWorldRateHz));
    return out;
  }

 private:
  double hz_;
};

/// One person, no room, hardly any noise.
SessionSpec solo(Clock clock) {
  SessionSpec spec;
  spec.seed = 5;
  spec.length_s = 12.0;
  spec.recorders = {clock};
  Person person;
  person.name = "keeper";
  person.level_db = 0.0;
  person.noise_db = -300.0;
  person.recorder_noise_db = -300.0;
  spec.people = {person};
  spec.room.own_reverb_db = -300.0;
  return spec;
}

double power(const std::vector<float>& samples) {
  double sum = 0.0;
  for (const float x : samples) sum += static_cast<double>(x) * x;
  return sum / static_cast<double>(samples.size());
}

struct TruthCase {
  const char* name;
  Clock clock;
  double note_hz;
};
void PrintTo(const TruthCase& c, std::ostream* out) { *out << c.name; }

class Truth : public testing::TestWithParam<TruthCase> {};

TEST_P(Truth, HoldsToOneMillionthOfTheSound) {
  const Note note(GetParam().note_hz);
  const auto session = simulate(solo(GetParam().clock), note, 1);
  ASSERT_TRUE(session);
  const SimulatedTrack& track = session->tracks[0];
  double worst = 0.0;
  int compared = 0;
  std::size_t now = 0;
  for (std::size_t i = 0; i < track.samples.size(); ++i) {
    const double line_s = track.clock.line_of(static_cast<double>(i) / track.clock.rate_hz);
    while (now + 1 < session->talk.size() && session->talk[now + 1].line_from_s <= line_s) ++now;
    const Utterance& u = session->talk[now];
    const double since_s = line_s - std::round(u.line_from_s * kWorldRateHz) / kWorldRateHz;
    // Clear of the note's abrupt ends, which ring in any band-limited reading.
    if (since_s < 0.1 || since_s > u.length_s - 0.1) continue;
    worst = std::max(worst, std::abs(track.samples[i] - note.at(since_s)));
    ++compared;
  }
  EXPECT_GT(compared, 2 * 16000);
  // -120 dB. At 1 kHz a time error of 0.1 us would show as -64 dB.
  EXPECT_LT(worst, 1e-6);
}

INSTANTIATE_TEST_SUITE_P(
    All, Truth,
    testing::Values(TruthCase{"SameRate", {48000, 0.0, -0.123456789, 0, {}}, 997.0},
                    TruthCase{"FastClock", {48000, 100.0, 3.3, 0, {}}, 997.0},
                    TruthCase{"SlowClock", {48000, -87.3, -12.7, 0, {}}, 21500.0},
                    TruthCase{"FarBefore", {48000, 33.3, -150.0, 0, {}}, 997.0},
                    TruthCase{"CdRate", {44100, 61.0, -1.0, 0, {}}, 19800.0},
                    TruthCase{"LowRate", {16000, -61.0, -1.0, 0, {}}, 7150.0},
                    TruthCase{"HighRate", {96000, 5.0, -1.0, 0, {}}, 21500.0},
                    TruthCase{"WarmingUp", {48000, 5.0, -1.0, 0, {8.0, 4.0}}, 5000.0},
                    TruthCase{"Swinging", {48000, 5.0, -1.0, 0, {}, {8.0, 4.0, 0.3}}, 5000.0},
                    TruthCase{"PulledDown", {48000 / 1.001, 5.0, -1.0, 0, {}}, 5000.0}),
    [](const auto& each) { return each.param.name; });

TEST(Clock, SwingsByWhatItSays) {
  Clock clock;
  clock.drift_ppm = 20.0;
  clock.swing = {3.0, 600.0, 0.125};
  for (const double at_s : {0.0, 100.0, 333.0, 500.0, 2000.0}) {
    // A second either side: the sine bends by less than 1e-4 ppm within it.
    const double passed_s = clock.line_of(at_s + 1.0) - clock.line_of(at_s - 1.0);
    const double fast_ppm = 20.0 + 3.0 * std::sin(2.0 * std::numbers::pi * (at_s / 600.0 + 0.125));
    EXPECT_NEAR((2.0 / passed_s - 1.0) * 1e6, fast_ppm, 1e-3) << at_s;
  }
}

TEST(Clock, TellsItsOwnSecondOfALineSecond) {
  Clock clock{48000.0, -80.0, -7000.0, 0.0, {5.0, 900.0}, {4.0, 2000.0, 0.7}};
  for (const double own_s : {-3.0, 0.0, 12.5, 7200.0, 20000.0})
    EXPECT_NEAR(clock.own_of(clock.line_of(own_s)), own_s, 1e-9);
}

TEST(Simulator, WritesTheWrongHeaderAndNothingElse) {
  SessionSpec spec = hybrid_session(8, 6.0, 0, 1);
  spec.recorders[0].rate_hz = 48000.0;
  const auto honest = simulate(spec, SyntheticVoices(8), 1);
  spec.recorders[0].header_rate_hz = 44100.0;
  const auto wrong = simulate(spec, SyntheticVoices(8), 1);
  ASSERT_TRUE(honest);
  ASSERT_TRUE(wrong);
  EXPECT_EQ(honest->tracks[0].samples, wrong->tracks[0].samples);
  EXPECT_EQ(honest->mix, wrong->mix);
  EXPECT_EQ(wrong->tracks[0].clock.file_rate_hz(), 44100.0);
  for (const double frame : {0.0, 12345.0, 200000.0})
    EXPECT_NEAR(wrong->line_of(0, frame / 44100.0), honest->line_of(0, frame / 48000.0), 1e-12);
}

TEST(Simulator, FeedsTheMixAtTheTimeThatTheTruthTells) {
  for (const bool remote : {false, true}) {
    SessionSpec spec = solo({48000.0, 0.0, 2.0, 9.0, {}});
    spec.people[0].remote = remote;
    const auto session = simulate(spec, Note(440.0), 1);
    ASSERT_TRUE(session);
    const std::vector<float>& track = session->tracks[0].samples;
    ASSERT_EQ(track.size(), 9U * 48000U);
    double product = 0.0;
    double square = 0.0;
    const float* mix = session->mix.data() + 2 * 48000;  // the mix has a level of its own
    for (std::size_t i = 0; i < track.size(); ++i) {
      product += static_cast<double>(mix[i]) * track[i];
      square += static_cast<double>(mix[i]) * mix[i];
    }
    double worst = 0.0;
    for (std::size_t i = 0; i < track.size(); ++i)
      worst = std::max(worst, std::abs(product / square * mix[i] - track[i]));
    EXPECT_LT(worst, 2e-6);  // the interpolator's error, read at its grid points
  }
}

TEST(Simulator, GivesTheSameBitsForAnyThreadCount) {
  SessionSpec spec = hybrid_session(3, 8.0, 2, 2);
  spec.mix.gain_riding_db = 6.0;
  spec.mix.duck_db = -12.0;
  spec.mix.coding = {Codec::mp3, 128.0};
  spec.people.back().stream.coding = {Codec::opus, 32.0};
  const SyntheticVoices voices(3);
  const auto one = simulate(spec, voices, 1);
  const auto three = simulate(spec, voices, 3);
  ASSERT_TRUE(one);
  ASSERT_TRUE(three);
  EXPECT_EQ(one->mix, three->mix);
  for (std::size_t i = 0; i < one->tracks.size(); ++i) {
    EXPECT_EQ(one->tracks[i].samples, three->tracks[i].samples);
    EXPECT_EQ(one->line_of(i, 1.0), three->line_of(i, 1.0));
  }
}

TEST(Simulator, LetsANeighbourHearAtTheChosenLevelAndDelay) {
  SessionSpec spec = hybrid_session(4, 10.0, 2, 0);
  spec.people[1].talk_share = 0.0;
  spec.room.bleed_low_db = spec.room.bleed_high_db = -10.0;
  spec.room.delay_low_ms = spec.room.delay_high_ms = 5.0;
  const auto session = simulate(spec, SyntheticVoices(4), 1);
  ASSERT_TRUE(session);
  const auto& own = session->tracks[0].samples;
  const auto& bleed = session->tracks[1].samples;
  EXPECT_NEAR(mean_delay_s(own, bleed, 48000.0), 0.005, 0.0001);  // the room blurs it a little
  const double level_db = 10.0 * std::log10(power(bleed) / power(own));
  // -10 dB straight, 1.8 dB of reflections, less what heads and walls take from the highs.
  EXPECT_GT(level_db, -12.0);
  EXPECT_LT(level_db, -7.0);
}

TEST(Simulator, CountsAStreamsCodecDelayIntoTheTruth) {
  SessionSpec spec = solo({48000.0, 0.0, 0.0, 0.0, {}});
  spec.people[0].remote = true;
  spec.people[0].level_db = -20.0;
  spec.people[0].stream.coding = {Codec::opus, 24.0};
  const auto session = simulate(spec, SyntheticVoices(6), 1);
  ASSERT_TRUE(session);
  const double heard_s = mean_delay_s(session->tracks[0].samples, session->mix, 48000.0);
  EXPECT_LT(heard_s, -2e-6);  // low-rate Opus is early; without that the test says nothing
  EXPECT_NEAR(session->line_of(0, 10.0), 10.0 + heard_s, 1e-6);
}

TEST(Simulator, CountsAStoringCodecsDelayIntoTheTruth) {
  SessionSpec spec = solo({24000.0, 0.0, 0.0, 0.0, {}});
  spec.mix.rate_hz = 24000.0;
  spec.people[0].level_db = -20.0;
  spec.people[0].stored = {Codec::mp3, 48.0};
  const auto session = simulate(spec, SyntheticVoices(6), 1);
  ASSERT_TRUE(session);
  const double late_s = mean_delay_s(session->mix, session->tracks[0].samples, 24000.0);
  EXPECT_GT(late_s, 0.04);  // this file's lead-in is not trimmed
  EXPECT_NEAR(session->line_of(0, 10.0), 10.0 - late_s, 1e-6);
}

TEST(Simulator, RecordsInvertedWhenAsked) {
  SessionSpec spec = solo({48000.0, 0.0, 0.0, 0.0, {}});
  const auto upright = simulate(spec, SyntheticVoices(6), 1);
  spec.people[0].inverted = true;
  const auto inverted = simulate(spec, SyntheticVoices(6), 1);
  ASSERT_TRUE(upright);
  ASSERT_TRUE(inverted);
  for (std::size_t i = 0; i < 48000; ++i)
    ASSERT_NEAR(inverted->tracks[0].samples[i], -upright->tracks[0].samples[i], 1e-12);
}

struct Senseless {
  const char* name;
  void (*spoil)(SessionSpec&);
};
void PrintTo(const Senseless& c, std::ostream* out) { *out << c.name; }

class SenselessSpec : public testing::TestWithParam<Senseless> {};

TEST_P(SenselessSpec, IsRefused) {
  SessionSpec spec = hybrid_session(1, 2.0, 1, 1);
  GetParam().spoil(spec);
  const auto session = simulate(spec, SyntheticVoices(1), 1);
  ASSERT_FALSE(session);
  EXPECT_EQ(session.error().kind, ErrorKind::bad_command);
}

INSTANTIATE_TEST_SUITE_P(
    All, SenselessSpec,
    testing::Values(
        Senseless{"NoPeople", [](SessionSpec& s) { s.people.clear(); }},
        Senseless{"NoLength", [](SessionSpec& s) { s.length_s = 0.0; }},
        Senseless{"NoSuchRecorder", [](SessionSpec& s) { s.people[0].recorder = 7; }},
        Senseless{"RateOfZero", [](SessionSpec& s) { s.recorders[0].rate_hz = 0.0; }},
        Senseless{"MixRateOfZero", [](SessionSpec& s) { s.mix.rate_hz = 0.0; }},
        Senseless{"TalksMoreThanAlways", [](SessionSpec& s) { s.people[0].talk_share = 1.5; }},
        Senseless{"HeaderOfNoRate", [](SessionSpec& s) { s.recorders[0].header_rate_hz = 7.0; }},
        Senseless{"DamageAfterTheEnd",
                  [](SessionSpec& s) {
                    s.people[0].damage = {{Damage::Kind::lost, 999.0, 1.0}};
                  }},
        Senseless{"MixDamageAfterTheEnd",
                  [](SessionSpec& s) {
                    s.mix.damage = {{Damage::Kind::lost, 999.0, 1.0}};
                  }},
        Senseless{"StartAfterTheMix", [](SessionSpec& s) { s.recorders[0].start_s = 99.0; }},
        Senseless{"OpusAt44100",
                  [](SessionSpec& s) {
                    s.mix.rate_hz = 44100.0;
                    s.mix.coding = {Codec::opus, 64.0};
                  }}),
    [](const auto& each) { return each.param.name; });

}  // namespace
}  // namespace kilter::simulator
