#pragma once

#include <memory>
#include <vector>

#include "kilter/signal/analysis_signal.h"
#include "kilter/signal/rate_reducer.h"

namespace kilter::test {

/// A whole recording as the analysis hears it.
inline std::unique_ptr<MemorySignal> reduce(const std::vector<float>& samples, double rate_hz) {
  RateReducer reducer(SampleRate{rate_hz});
  std::vector<float> out;
  reducer.process(samples, out);
  reducer.finish(out);
  return std::make_unique<MemorySignal>(std::move(out));
}

}  // namespace kilter::test
