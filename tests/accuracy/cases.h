// The sessions on which the estimator's accuracy is measured, and what is promised for each.
#pragma once

#include <string>
#include <vector>

#include "simulator/simulator.h"

namespace kilter::accuracy {

struct Case {
  std::string name;   ///< for --only
  std::string about;  ///< a row's label
  double limit_us;    ///< largest permitted error of a map anywhere in its track
  bool lossy;         ///< somewhere between a voice and a file
  /// The session of one seed; `length_s` of the mix.
  simulator::SessionSpec (*make)(std::uint64_t seed, double length_s);
};

const std::vector<Case>& cases();

}  // namespace kilter::accuracy
