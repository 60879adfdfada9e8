#include "damage.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numeric>
#include <ostream>

#include "simulator.h"
#include "sound_delay.h"

namespace kilter::simulator {
namespace {

using enum Damage::Kind;

struct DamageCase {
  const char* name;
  std::vector<Damage> damage;
  std::vector<float> expected;  // of the recording 1 2 3 4 5 6 7 8 at 10 Hz
};
void PrintTo(const DamageCase& c, std::ostream* out) { *out << c.name; }

class DamagedFile : public testing::TestWithParam<DamageCase> {};

TEST_P(DamagedFile, HoldsTheFramesThatAreLeft) {
  std::vector<float> recording(8);
  std::iota(recording.begin(), recording.end(), 1.0F);
  const auto map = FileMap::make({}, GetParam().damage, 10.0, 8);
  ASSERT_TRUE(map);
  const std::vector<float> file = map->apply(recording);
  EXPECT_EQ(file, GetParam().expected);
  for (std::size_t i = 0; i < file.size(); ++i) {
    if (file[i] == 0.0F) continue;
    const double source_s = map->source_of(static_cast<double>(i) / 10.0);
    EXPECT_NEAR(10.0 * source_s + 1.0, file[i], 1e-9) << i;
  }
  for (std::size_t i = 0; i < recording.size(); ++i) {
    const auto first = std::find(file.begin(), file.end(), recording[i]);
    const auto file_s = map->file_of(static_cast<double>(i) / 10.0);
    ASSERT_EQ(file_s.has_value(), first != file.end()) << i;
    if (file_s) {
      EXPECT_NEAR(10.0 * *file_s, static_cast<double>(first - file.begin()), 1e-9);
    }
  }
}

INSTANTIATE_TEST_SUITE_P(
    All, DamagedFile,
    testing::Values(
        DamageCase{"Whole", {}, {1, 2, 3, 4, 5, 6, 7, 8}},
        DamageCase{"Lost", {{lost, 0.2, 0.3}}, {1, 2, 6, 7, 8}},
        DamageCase{"LostAtTheBeginning", {{lost, 0.0, 0.3}}, {4, 5, 6, 7, 8}},
        DamageCase{"LostAtTheEnd", {{lost, 0.6, 0.2}}, {1, 2, 3, 4, 5, 6}},
        DamageCase{"Repeated", {{repeated, 0.4, 0.2}}, {1, 2, 3, 4, 3, 4, 5, 6, 7, 8}},
        DamageCase{"ZerosInserted", {{zeros_inserted, 0.4, 0.2}}, {1, 2, 3, 4, 0, 0, 5, 6, 7, 8}},
        DamageCase{"ZerosOver", {{zeros_over, 0.4, 0.2}}, {1, 2, 3, 4, 0, 0, 7, 8}},
        DamageCase{"SeveralInAnyOrder",
                   {{zeros_inserted, 0.6, 0.1}, {lost, 0.1, 0.2}, {repeated, 0.5, 0.1}},
                   {1, 4, 5, 5, 6, 0, 7, 8}}),
    [](const auto& each) { return each.param.name; });

TEST(FileMap, RefusesFaultsThatOverlapOrLieOutside) {
  EXPECT_FALSE(FileMap::make({{lost, 0.2, 0.3}}, {{lost, 0.4, 0.1}}, 10.0, 8));
  EXPECT_FALSE(FileMap::make({}, {{repeated, 0.2, 0.3}}, 10.0, 8));
  EXPECT_FALSE(FileMap::make({}, {{lost, 0.7, 0.2}}, 10.0, 8));
  EXPECT_FALSE(FileMap::make({}, {{zeros_inserted, 0.2, 0.0}}, 10.0, 8));
}

/// Two people who talk all the time, each on a clock without drift, and no room between them.
SessionSpec two_talkers() {
  SessionSpec spec = hybrid_session(11, 40.0, 1, 1);
  for (Clock& clock : spec.recorders) {
    clock.rate_hz = 48000.0;
    clock.drift_ppm = 0.0;
    clock.start_s = -2.5;
  }
  return spec;
}

/// How much later than the truth says the mix holds a stretch of the track, by correlation.
double late_in_mix_s(const Session& session, std::size_t track, double from_s, double to_s) {
  const SimulatedTrack& t = session.tracks[track];
  const double rate_hz = t.clock.file_rate_hz();
  const auto first = static_cast<std::size_t>(std::llround(from_s * rate_hz));
  const auto count = static_cast<std::size_t>(std::llround((to_s - from_s) * rate_hz));
  const double exact_s = *session.mix_of_line(t.line_of(static_cast<double>(first) / rate_hz));
  const std::int64_t mix_first = std::llround(exact_s * session.mix_rate_hz);
  const std::span<const float> sound(t.samples);
  const std::span<const float> mix(session.mix);
  const double late_s =
      mean_delay_s(sound.subspan(first, count),
                   mix.subspan(static_cast<std::size_t>(mix_first), count), rate_hz);
  return late_s - (exact_s - static_cast<double>(mix_first) / session.mix_rate_hz);
}

// The other voice in the mix disturbs the measure; one frame would be 21 us.
constexpr double kSame_s = 5e-6;

TEST(TruthOfDamage, AgreesWithTheSoundOnBothSidesOfEverySeam) {
  SessionSpec spec = two_talkers();
  spec.recorders[0].damage = {{lost, 12.0, 0.75}};
  spec.people[1].damage = {{repeated, 14.0, 0.5}, {zeros_inserted, 26.0, 1.25}};
  const auto session = simulate(spec, SyntheticVoices(11), 1);
  ASSERT_TRUE(session);
  EXPECT_NEAR(late_in_mix_s(*session, 0, 3.0, 11.9), 0.0, kSame_s);
  EXPECT_NEAR(late_in_mix_s(*session, 0, 12.1, 30.0), 0.0, kSame_s);
  EXPECT_NEAR(late_in_mix_s(*session, 1, 3.0, 13.9), 0.0, kSame_s);
  EXPECT_NEAR(late_in_mix_s(*session, 1, 14.6, 26.4), 0.0, kSame_s);
  EXPECT_NEAR(late_in_mix_s(*session, 1, 27.8, 40.0), 0.0, kSame_s);

  ASSERT_EQ(session->tracks[0].seams.size(), 1U);
  const TrueSeam& gap = session->tracks[0].seams[0];
  EXPECT_DOUBLE_EQ(gap.track_from_s, 12.0);
  EXPECT_DOUBLE_EQ(gap.track_to_s, 12.0);
  EXPECT_NEAR(gap.line_s, 9.5, 1e-9);
  EXPECT_NEAR(gap.line_after_s, 10.25, 1e-9);
  EXPECT_NEAR(gap.step_s, 0.75, 1e-9);
  EXPECT_EQ(gap.cause, "track");  // the recorder has no other file
  ASSERT_EQ(session->tracks[1].seams.size(), 2U);
  EXPECT_NEAR(session->tracks[1].seams[0].step_s, -0.5, 1e-9);
  EXPECT_TRUE(session->tracks[1].seams[0].repeated);
  EXPECT_NEAR(session->tracks[1].seams[1].step_s, -1.25, 1e-9);
  EXPECT_FALSE(session->tracks[1].seams[1].repeated);
  EXPECT_DOUBLE_EQ(session->tracks[1].seams[1].track_from_s, 26.5);
  EXPECT_DOUBLE_EQ(session->tracks[1].seams[1].track_to_s, 27.75);
}

TEST(TruthOfDamage, StepsTheMixAndLeavesTheTracksWhole) {
  SessionSpec spec = two_talkers();
  spec.mix.damage = {{lost, 10.0, 0.4}, {zeros_over, 20.0, 0.3}, {repeated, 28.0, 0.2}};
  const auto session = simulate(spec, SyntheticVoices(11), 1);
  ASSERT_TRUE(session);
  EXPECT_EQ(session->mix.size(), 48000U * 40U - 48000U / 5U);
  for (const std::size_t track : {0U, 1U}) {
    EXPECT_TRUE(session->tracks[track].seams.empty());
    EXPECT_NEAR(late_in_mix_s(*session, track, 3.0, 12.4), 0.0, kSame_s);
    EXPECT_NEAR(late_in_mix_s(*session, track, 13.0, 22.4), 0.0, kSame_s);
    EXPECT_NEAR(late_in_mix_s(*session, track, 23.0, 30.4), 0.0, kSame_s);
    EXPECT_NEAR(late_in_mix_s(*session, track, 30.6, 42.0), 0.0, kSame_s);
  }
  ASSERT_EQ(session->mix_seams.size(), 3U);
  EXPECT_NEAR(session->mix_seams[0].step_s, 0.4, 1e-9);
  EXPECT_EQ(session->mix_seams[1].step_s, 0.0);
  EXPECT_NEAR(session->mix_seams[2].step_s, -0.2, 1e-9);
  EXPECT_EQ(session->mix_seams[2].cause, "mix");
  EXPECT_NEAR(session->line_of_mix(12.0), 12.4, 1e-12);
  EXPECT_FALSE(session->mix_of_line(10.2));
}

TEST(TruthOfDamage, NamesTheRecorderWhereItHasOtherFiles) {
  SessionSpec spec = hybrid_session(12, 20.0, 2, 0);
  spec.recorders[0].start_s = -1.0;
  spec.recorders[0].damage = {{lost, 9.0, 0.1}};
  const auto session = simulate(spec, SyntheticVoices(12), 2);
  ASSERT_TRUE(session);
  for (const SimulatedTrack& track : session->tracks) {
    ASSERT_EQ(track.seams.size(), 1U);
    EXPECT_EQ(track.seams[0].cause, "recorder");
    // On the timeline a fast clock's seconds are shorter.
    EXPECT_NEAR(track.seams[0].step_s, 0.1 / (1.0 + 1e-6 * track.clock.drift_ppm), 1e-12);
  }
}

TEST(TruthOfDamage, TellsWhetherThePersonSpeaksOnBothSides) {
  SessionSpec spec = two_talkers();
  spec.people[0].talk_share = 0.0;
  spec.people[1].talk_share = 0.9;
  spec.people[0].damage = {{lost, 20.0, 0.1}};
  spec.people[1].damage = {{lost, 20.0, 0.1}};
  const auto session = simulate(spec, SyntheticVoices(11), 1);
  ASSERT_TRUE(session);
  EXPECT_FALSE(session->tracks[0].seams.at(0).speech_near);
  EXPECT_TRUE(session->tracks[1].seams.at(0).speech_near);
}

TEST(TruthOfDamage, MovesToWhereSpeechIsOnBothSidesWhenAsked) {
  SessionSpec spec = hybrid_session(13, 120.0, 1, 1);
  for (Clock& clock : spec.recorders) clock.start_s = -2.0;
  spec.faults_amid_speech = true;
  for (Person& person : spec.people) person.damage = {{lost, 30.0, 0.5}};
  spec.recorders[0].damage = {{repeated, 65.0, 0.3}};
  spec.people[1].stream.steps = {{90.0, 0.04}};
  spec.mix.damage = {{lost, 45.0, 1.0}};
  const auto session = simulate(spec, SyntheticVoices(13), 2);
  ASSERT_TRUE(session);
  for (const SimulatedTrack& track : session->tracks) {
    EXPECT_EQ(track.seams.size(), 2U);
    for (const TrueSeam& seam : track.seams) EXPECT_TRUE(seam.speech_near) << track.name;
  }
  EXPECT_TRUE(session->mix_seams.at(0).speech_near);
  EXPECT_NEAR(session->mix_seams.at(0).line_s, 45.0, 30.0);
}

}  // namespace
}  // namespace kilter::simulator
