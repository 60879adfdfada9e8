#include "music.h"

#include <gtest/gtest.h>

#include <cmath>

#include "simulator.h"

namespace kilter::simulator {
namespace {

constexpr std::int64_t kRate = kWorldRateHz;

double level_db(std::span<const float> sound) {
  double energy = 0.0;
  for (const float x : sound) energy += static_cast<double>(x) * x;
  return 10.0 * std::log10(energy / static_cast<double>(sound.size()) + 1e-20);
}

double correlation(const std::vector<float>& a, const std::vector<float>& b) {
  double ab = 0.0;
  double aa = 0.0;
  double bb = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) {
    ab += static_cast<double>(a[i]) * b[i];
    aa += static_cast<double>(a[i]) * a[i];
    bb += static_cast<double>(b[i]) * b[i];
  }
  return ab / std::sqrt(aa * bb);
}

TEST(Music, IsAnotherPieceForEverySeed) {
  const auto one = compose(1, 20 * kRate);
  EXPECT_EQ(one, compose(1, 20 * kRate));
  EXPECT_LT(std::abs(correlation(one, compose(2, 20 * kRate))), 0.05);
  EXPECT_NEAR(level_db(one), 0.0, 1e-3);
}

TEST(Music, HasNoHoles) {
  const auto piece = compose(3, 30 * kRate);
  for (std::int64_t at = 0; at + kRate <= 30 * kRate; at += kRate)
    EXPECT_GT(level_db(std::span(piece).subspan(static_cast<std::size_t>(at), kRate)), -12.0) << at;
}

TEST(Music, LiesUnderAllOfTheMixAndTheJinglesWhereTheyBelong) {
  std::vector<float> bus(60 * kRate, 0.0F);
  add_music({-43.0, 0.0, {{20.0, 5.0, -20.0}}}, 7, bus);
  EXPECT_NEAR(level_db(std::span(bus).subspan(0, 20 * kRate)), -43.0, 0.7);
  EXPECT_NEAR(level_db(std::span(bus).subspan(20 * kRate, 5 * kRate)), -20.0, 1.5);
  EXPECT_NEAR(level_db(std::span(bus).subspan(25 * kRate)), -43.0, 0.7);
}

TEST(Music, ComesRoundSampleForSampleWhereItLoops) {
  std::vector<float> bus(30 * kRate, 0.0F);
  add_music({-30.0, 8.0, {}}, 7, bus);
  for (std::size_t i = 0; i + 8 * kRate < bus.size(); ++i) ASSERT_EQ(bus[i], bus[i + 8 * kRate]);
}

TEST(Music, HushesTheTalkUnderAJingle) {
  SessionSpec spec = hybrid_session(5, 60.0, 2, 0);
  spec.mix.music.jingles = {{30.0, 6.0, -20.0}};
  const auto session = simulate(spec, SyntheticVoices(5), 2);
  ASSERT_TRUE(session);
  EXPECT_GT(session->talk.size(), 5U);
  for (const Utterance& u : session->talk)
    EXPECT_TRUE(u.line_from_s > 36.0 || u.line_from_s + u.length_s < 30.0);
}

}  // namespace
}  // namespace kilter::simulator
