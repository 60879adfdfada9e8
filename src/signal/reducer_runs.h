// A decimator's inner loop.
#pragma once

#include <span>

#include "kilter/signal/rate_reducer.h"

namespace kilter {

/// ReducerFilter::kBatch outputs in a row, each the sum of all runs. `phases` as value_batch()
/// wants them.
void add_up_runs(std::span<const ReducerRun> runs, std::span<const float* const> phases,
                 float* out);

/// The same bits by what every processor has.
void add_up_runs_plainly(std::span<const ReducerRun> runs, std::span<const float* const> phases,
                         float* out);

}  // namespace kilter
