// Which measured offsets follow one another along a clock, and where they step.
#pragma once

#include <vector>

namespace kilter::sync {

/// One measured offset, in order of time.
struct LevelPoint {
  double at_s{0.0};
  double offset_s{0.0};  ///< from a line about as steep as the clock
  double sigma_s{0.0};
  double say{1.0};  ///< 0..1: how far it can be trusted
  int lane{0};      ///< points of different lanes are known to lie on different levels
};

struct LevelOptions {
  double tolerance_s{0.3e-3};  ///< neighbours on one level lie so close
  double slope{8e-6};          ///< and as much further apart for every second between them
  double jump_cost{3.0};       ///< points of full say that a new level must bring
  double lane_jump_cost{1.0};  ///< the same where the lane changes
  double least_step_s{1.0e-3};
  double excursion_s{0.075};  ///< levels left and found again within this are one
};

/// The level of each point, from 0 upwards in order of time; -1 for points on none. Finds the chain
/// of points with the most say, in which every point either continues its predecessor's level or
/// pays `jump_cost`; what leaves a level and comes back to it lies on none.
/// Cost: the square of the number of points.
std::vector<int> find_levels(const std::vector<LevelPoint>& points, const LevelOptions& options);

}  // namespace kilter::sync
