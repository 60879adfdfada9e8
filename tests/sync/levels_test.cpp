#include "kilter/sync/levels.h"

#include <gtest/gtest.h>

#include <random>

namespace kilter::sync {
namespace {

/// Clear windows every six seconds at the given offsets.
std::vector<LevelPoint> points_at(const std::vector<double>& offsets_ms) {
  std::vector<LevelPoint> points;
  for (const double offset_ms : offsets_ms)
    points.push_back({6.0 * static_cast<double>(points.size()), 1e-3 * offset_ms, 5e-6, 1.0});
  return points;
}

std::vector<int> levels_of(const std::vector<double>& offsets_ms) {
  return find_levels(points_at(offsets_ms), {});
}

using Levels = std::vector<int>;

TEST(Levels, OneClockIsOneLevel) {
  EXPECT_EQ(levels_of({0.0, 0.01, -0.02, 0.0, 0.01}), (Levels{0, 0, 0, 0, 0}));
}

TEST(Levels, AStepForGoodIsASecondLevel) {
  EXPECT_EQ(levels_of({0, 0, 0, 0, 0, 20, 20, 20, 20, 20}), (Levels{0, 0, 0, 0, 0, 1, 1, 1, 1, 1}));
}

TEST(Levels, StepsOfMinutesAreFoundAsThoseOfMilliseconds) {
  EXPECT_EQ(levels_of({0, 0, 0, 0, 90000, 90000, 90000, 90000, 89800, 89800, 89800, 89800}),
            (Levels{0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2}));
}

TEST(Levels, WhatComesBackIsNoSeam) {
  EXPECT_EQ(levels_of({0, 0, 0, 0, 0, 30, 30, 30, 30, 0, 0, 0, 0, 0}),
            (Levels{0, 0, 0, 0, 0, -1, -1, -1, -1, 0, 0, 0, 0, 0}));
}

TEST(Levels, AFewStrayWindowsAreNoLevel) {
  EXPECT_EQ(levels_of({0, 0, 4.1, 0, 0, 4.1, 0, 0, 4.1, 4.1}),
            (Levels{0, 0, -1, 0, 0, -1, 0, 0, -1, -1}));
}

TEST(Levels, AWanderingClockIsOneLevel) {
  std::vector<double> offsets_ms;
  for (int i = 0; i < 200; ++i) offsets_ms.push_back(0.03 * i);  // 5 ppm
  const Levels levels = levels_of(offsets_ms);
  EXPECT_EQ(levels, Levels(200, 0));
}

TEST(Levels, VagueWindowsDoNotOutvoteClearOnes) {
  std::vector<LevelPoint> points = points_at({0, 5, 0, 5, 0, 5, 0, 5, 0, 5, 5, 5});
  for (LevelPoint& point : points)
    if (point.offset_s > 1e-3) point.say = 0.3;
  const Levels levels = find_levels(points, {});
  for (std::size_t i = 0; i < points.size(); ++i)
    EXPECT_EQ(levels[i], points[i].offset_s > 1e-3 ? -1 : 0) << i;
}

TEST(Levels, NoPointsHaveNoLevels) { EXPECT_TRUE(find_levels({}, {}).empty()); }

}  // namespace
}  // namespace kilter::sync
