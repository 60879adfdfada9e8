// All that stands between files and placings, stage by stage.
#pragma once

#include <string>
#include <vector>

#include "cost.h"
#include "floor.h"
#include "kilter/sync/align.h"

namespace kilter::bench {

struct Stage {
  std::string name;
  Cost cost;
};

struct Analysis {
  sync::Alignment alignment;
  std::vector<Stage> stages;     ///< in the order in which they came
  double seconds_of_sound{0.0};  ///< all files, the mix too
};

/// The mix is the first file. Throws std::runtime_error where a file cannot be read or placed.
Analysis analyse(const Files& files, int threads);

}  // namespace kilter::bench
