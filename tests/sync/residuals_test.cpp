#include "kilter/sync/residuals.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <random>

namespace kilter::sync {
namespace {

constexpr double kSigma_s = 5e-6;

/// A window every 6 s for `length_s`, where the track is late by what `late_s` says, give or take
/// the noise of the windows.
std::vector<ResidualWindow> windows_of(double length_s, const std::function<double(double)>& late_s,
                                       std::uint32_t seed = 1) {
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0.0, kSigma_s);
  std::vector<ResidualWindow> windows;
  for (double at_s = 3.0; at_s < length_s; at_s += 6.0)
    windows.push_back({at_s, late_s(at_s) + noise(random), kSigma_s, true, false});
  return windows;
}

TEST(Residuals, OfATrackInPlaceAreBelowTheirOwnBoundInNearlyAllSessions) {
  int inside = 0;
  constexpr int kSessions = 1000;
  for (std::uint32_t seed = 0; seed < kSessions; ++seed) {
    const auto windows = windows_of(
        600.0, [](double) { return 0.0; }, seed);
    const Residual residual = judge_residuals(windows);
    ASSERT_EQ(residual.runs.size(), 1U);
    EXPECT_TRUE(residual.has_evidence());
    inside += std::abs(residual.worst_s) <= residual.uncertainty_s ? 1 : 0;
  }
  EXPECT_GE(inside, 930);
}

TEST(Residuals, TellAnOffsetAndASlopeWithTheirPlaces) {
  const auto shifted = judge_residuals(windows_of(300.0, [](double) { return 1.2e-3; }));
  EXPECT_NEAR(shifted.worst_s, 1.2e-3, 10e-6);
  const auto stretched =
      judge_residuals(windows_of(3600.0, [](double at_s) { return 0.4e-3 * at_s / 3600.0; }));
  ASSERT_EQ(stretched.runs.size(), 1U);
  EXPECT_NEAR(stretched.runs[0].slope, 0.4e-3 / 3600.0, 2e-9);
  EXPECT_GT(stretched.runs[0].slope, 10.0 * stretched.runs[0].slope_sigma);
  EXPECT_NEAR(stretched.worst_s, 0.4e-3, 10e-6);
  EXPECT_GT(stretched.worst_at_s, 3590.0);
}

TEST(Residuals, OfAMinuteThatSlippedAreTheTracksOwn) {
  const auto residual = judge_residuals(
      windows_of(900.0, [](double at_s) { return at_s > 400.0 && at_s < 460.0 ? -5e-3 : 0.0; }));
  ASSERT_EQ(residual.runs.size(), 3U);
  EXPECT_NEAR(residual.worst_s, -5e-3, 20e-6);
  EXPECT_GT(residual.worst_at_s, 399.0);
  EXPECT_LT(residual.worst_at_s, 461.0);
  EXPECT_TRUE(residual.passing.empty());
}

TEST(Residuals, ThatComeBackWithinSecondsAreTheStreams) {
  const auto residual = judge_residuals(
      windows_of(900.0, [](double at_s) { return at_s > 400.0 && at_s < 412.0 ? 20e-3 : 0.0; }));
  ASSERT_EQ(residual.runs.size(), 1U);
  EXPECT_LT(std::abs(residual.worst_s), 20e-6);
  ASSERT_EQ(residual.passing.size(), 1U);
  EXPECT_NEAR(residual.passing[0].late_s, 20e-3, 20e-6);
  EXPECT_NEAR(residual.passing[0].from_s, 405.0, 3.1);
}

TEST(Residuals, ThatDoNotComeBackAreTheTracksOwn) {
  const auto residual =
      judge_residuals(windows_of(900.0, [](double at_s) { return at_s > 450.0 ? 2e-3 : 0.0; }));
  ASSERT_EQ(residual.runs.size(), 2U);
  EXPECT_NEAR(residual.worst_s, 2e-3, 20e-6);
}

TEST(Residuals, OfAStreamInStairsAreThoseOfTheLineThroughThem) {
  // 10 ppm, undone by a pitch period of 5 ms every 500 s.
  const auto residual = judge_residuals(
      windows_of(3000.0, [](double at_s) { return 10e-6 * std::fmod(at_s, 500.0) - 2.5e-3; }));
  EXPECT_TRUE(residual.in_stairs);
  EXPECT_NEAR(residual.stair_s, 5e-3, 0.2e-3);
  EXPECT_LT(std::abs(residual.worst_s), 1e-3);
}

TEST(Residuals, OfAFewWindowsOrOfThoseThatTheMixDoesNotBearOutAreNoEvidence) {
  auto windows = windows_of(300.0, [](double) { return 0.0; });
  for (std::size_t i = 0; i + 8 < windows.size(); ++i) windows[i].clear = false;
  EXPECT_FALSE(judge_residuals(windows).has_evidence());
  windows = windows_of(6.0, [](double) { return 0.0; });
  EXPECT_FALSE(judge_residuals(windows).has_evidence());
  EXPECT_FALSE(judge_residuals({}).has_evidence());
}

TEST(Residuals, OfTwoWindowsAreEvidenceWhereBothAgreeAndItSoundsInNoOther) {
  auto windows = windows_of(12.0, [](double) { return 0.0; });
  ASSERT_EQ(windows.size(), 2U);
  EXPECT_TRUE(judge_residuals(windows).has_evidence());
  windows.push_back({15.0, 0.0, 0.0, false, false});
  EXPECT_FALSE(judge_residuals(windows).has_evidence());
  const auto apart = windows_of(12.0, [](double at_s) { return at_s < 6.0 ? 0.0 : 1e-3; });
  EXPECT_FALSE(judge_residuals(apart).has_evidence());
}

TEST(Residuals, CountWindowsInARowThatTheMixDoesNotBearOut) {
  auto windows = windows_of(300.0, [](double) { return 0.0; });
  for (const std::size_t i : {3U, 10U, 11U, 12U, 20U}) windows[i].clear = false;
  EXPECT_EQ(judge_residuals(windows).unheard_in_a_row, 3);
  EXPECT_DOUBLE_EQ(judge_residuals(windows).unheard_from_s, windows[10].line_s);
}

}  // namespace
}  // namespace kilter::sync
