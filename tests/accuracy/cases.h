// The sessions on which the estimator's accuracy is measured, and what is promised for each.
#pragma once

#include <string>
#include <vector>

#include "accuracy/session.h"

namespace kilter::accuracy {

struct Case {
  std::string name;   ///< for --rows-only
  std::string about;  ///< a row's label
  double limit_us;    ///< largest permitted error away from seams; 0: none is promised
  double stretch;     ///< its sessions are so many times longer than the others
  bool firm;          ///< every track that can be placed must be firm; else shaky will do
  /// The session of one seed; `length_s` of the mix.
  Order (*make)(std::uint64_t seed, double length_s);
  bool on_request{false};  ///< too long for every run
};

const std::vector<Case>& cases();

/// A short session of random people, clocks, codecs and faults, and two strangers.
Order random_order(std::uint64_t seed);

/// Complete and whole: random people, clocks, codecs, music. Nothing may be reported of it.
Order clean_order(std::uint64_t seed, double length_s);

}  // namespace kilter::accuracy
