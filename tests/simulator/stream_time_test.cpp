#include "stream_time.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "random.h"
#include "simulator.h"
#include "sound_delay.h"
#include "truth.h"

namespace kilter::simulator {
namespace {

std::vector<float> noise(double length_s) {
  Random random{1};
  std::vector<float> out(static_cast<std::size_t>(length_s * kWorldRateHz));
  for (float& x : out) x = random.noise();
  return out;
}

/// How late `out` holds `in` around a moment.
double late_s(const std::vector<float>& in, const std::vector<float>& out, double from_s,
              double to_s) {
  const auto first = static_cast<std::size_t>(from_s * kWorldRateHz);
  const auto count = static_cast<std::size_t>((to_s - from_s) * kWorldRateHz);
  return mean_delay_s(std::span(in).subspan(first, count), std::span(out).subspan(first, count),
                      kWorldRateHz);
}

// The measure's own error on half a second of noise.
constexpr double kSame_s = 1e-6;

TEST(StreamTime, GoesOnAnExcursionAndComesBack) {
  for (const double size_s : {0.0025, -0.02, 0.06, -0.06}) {
    const StreamTime time({{3.0, size_s, 2.0}}, {});
    const std::vector<float> in = noise(8.0);
    const std::vector<float> out = time.apply(in);
    EXPECT_NEAR(late_s(in, out, 1.0, 2.9), 0.0, kSame_s);
    EXPECT_NEAR(late_s(in, out, 3.3, 4.7), size_s, kSame_s);
    EXPECT_NEAR(late_s(in, out, 5.1, 7.5), 0.0, kSame_s);
    for (double at_s = 2.9; at_s < 5.1; at_s += 0.001)  // neither backwards nor at double speed
      ASSERT_LT(std::abs(time.delay_s(at_s + 0.001) - time.delay_s(at_s)), 0.00051);
  }
}

TEST(StreamTime, KeepsItsSteps) {
  const StreamTime time({}, {{3.0, 0.03}, {5.0, -0.05}});
  const std::vector<float> in = noise(8.0);
  const std::vector<float> out = time.apply(in);
  EXPECT_NEAR(late_s(in, out, 1.0, 2.9), 0.0, kSame_s);
  EXPECT_NEAR(late_s(in, out, 3.1, 4.9), 0.03, kSame_s);
  EXPECT_NEAR(late_s(in, out, 5.1, 7.9), -0.02, kSame_s);
}

TEST(StreamTime, ClimbsAStaircaseAboutTheStraightLine) {
  constexpr double kFast = 100e-6;
  constexpr double kSplice_s = 0.0025;
  StreamTime time({}, {});
  time.play_sample_for_sample([](double own_s) { return own_s / (1.0 + kFast); }, 0.0, 0.0, 120.0,
                              kSplice_s, 0.001);
  // 12 ms in two minutes, spliced by 2.5 ms at a time, from +1 ms.
  EXPECT_EQ(time.jumps_s().size(), 5U);
  const std::vector<float> in = noise(120.0);
  const std::vector<float> out = time.apply(in);
  double least_s = 1.0;
  double most_s = -1.0;
  for (double at_s = 1.0; at_s < 118.0; at_s += 1.0) {
    bool jumps = false;
    for (const double jump_s : time.jumps_s())
      jumps = jumps || (jump_s > at_s - 0.1 && jump_s < at_s + 0.6);
    if (jumps) continue;
    const double late = late_s(in, out, at_s, at_s + 0.5);
    EXPECT_NEAR(late, time.delay_s(at_s + 0.25), 20e-6) << at_s;  // moves by 50 us meanwhile
    least_s = std::min(least_s, late);
    most_s = std::max(most_s, late);
  }
  EXPECT_LT(most_s, 0.5 * kSplice_s + 20e-6);
  EXPECT_GT(least_s, -0.5 * kSplice_s - 20e-6);
  EXPECT_GT(most_s - least_s, 0.8 * kSplice_s);
}

TEST(RandomExcursions, AreAsManyAndAsLargeAsOrdered) {
  const auto all = random_excursions(3, 10.0, 1210.0, 3.0, 0.06);
  EXPECT_NEAR(static_cast<double>(all.size()), 60.0, 6.0);
  double free_s = 10.0;
  for (const Excursion& e : all) {
    EXPECT_GE(e.line_s, free_s);
    free_s = e.line_s + e.length_s;
    EXPECT_GE(std::abs(e.size_s), 0.0025);
    EXPECT_LE(std::abs(e.size_s), 0.06);
    EXPECT_GE(e.length_s, 0.5);
    EXPECT_LE(e.length_s, 3.0);
  }
  EXPECT_LT(free_s, 1210.0);
}

SessionSpec lone_guest() {
  SessionSpec spec = hybrid_session(31, 60.0, 0, 1);
  Clock& clock = spec.recorders[0];
  clock.rate_hz = 48000.0;
  clock.drift_ppm = 0.0;
  clock.start_s = 0.0;
  return spec;
}

double late_in_mix_s(const Session& session, double from_s, double to_s) {
  return late_s(session.tracks[0].samples, session.mix, from_s, to_s);
}

TEST(TruthOfAStream, StepsForGoodWhereTheBufferChanges) {
  SessionSpec spec = lone_guest();
  spec.people[0].stream.steps = {{25.0, 0.035}};
  const auto session = simulate(spec, SyntheticVoices(31), 1);
  ASSERT_TRUE(session);
  const auto& seams = session->tracks[0].seams;
  ASSERT_EQ(seams.size(), 1U);
  EXPECT_EQ(seams[0].cause, "stream");
  EXPECT_NEAR(seams[0].step_s, 0.035, 1e-12);
  EXPECT_NEAR(seams[0].track_to_s - seams[0].track_from_s, 0.035, 1e-9);
  EXPECT_NEAR(mean_drift_ppm(session->tracks[0]), 0.0, 1e-6);
  const double step_s = seams[0].track_to_s;
  EXPECT_NEAR(step_s, 25.0, 8.0);  // waits for a pause
  for (const Utterance& u : session->talk)
    EXPECT_TRUE(step_s < u.line_from_s || step_s > u.line_from_s + u.length_s);
  EXPECT_NEAR(session->line_of(0, step_s - 3.0), step_s - 3.0, 1e-9);
  EXPECT_NEAR(session->line_of(0, step_s + 3.0), step_s + 3.035, 1e-9);
  EXPECT_NEAR(late_in_mix_s(*session, 2.0, step_s - 0.1), 0.0, 1e-6);
  EXPECT_NEAR(late_in_mix_s(*session, step_s + 0.1, 58.0), 0.035, 1e-6);
}

TEST(TruthOfAStream, GoesStraightThroughExcursions) {
  SessionSpec spec = lone_guest();
  spec.people[0].stream.excursions = {{20.0, 0.02, 3.0}};
  const auto session = simulate(spec, SyntheticVoices(31), 1);
  ASSERT_TRUE(session);
  EXPECT_TRUE(session->tracks[0].seams.empty());
  ASSERT_EQ(session->tracks[0].excursions.size(), 1U);
  EXPECT_DOUBLE_EQ(session->line_of(0, 21.0), 21.0);
  EXPECT_NEAR(late_in_mix_s(*session, 20.2, 22.8), 0.02, 1e-5);
  EXPECT_NEAR(late_in_mix_s(*session, 24.0, 58.0), 0.0, 1e-6);
}

TEST(TruthOfAStream, GoesStraightThroughAStaircase) {
  SessionSpec spec = lone_guest();
  spec.recorders[0].drift_ppm = 100.0;
  spec.people[0].stream.staircase_s = 0.0025;
  const auto session = simulate(spec, SyntheticVoices(31), 1);
  ASSERT_TRUE(session);
  EXPECT_TRUE(session->tracks[0].seams.empty());
  EXPECT_DOUBLE_EQ(session->line_of(0, 50.0), 50.0 / (1.0 + 100e-6));
  // Sample for sample: between two splices, 25 s apart here, the mix stays equally late.
  const double at_s[] = {4.0, 14.0, 24.0, 34.0, 44.0, 54.0};
  int same = 0;
  for (int i = 0; i + 1 < 6; ++i) {
    const double change_s = late_in_mix_s(*session, at_s[i + 1], at_s[i + 1] + 4.0) -
                            late_in_mix_s(*session, at_s[i], at_s[i] + 4.0);
    same += std::abs(change_s) < 2e-6;
  }
  EXPECT_GE(same, 2);
}

}  // namespace
}  // namespace kilter::simulator
