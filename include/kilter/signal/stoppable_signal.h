// A signal that can no longer be read once the user has stopped the program.
#pragma once

#include <atomic>
#include <cstdint>
#include <span>

#include "kilter/base/result.h"
#include "kilter/signal/analysis_signal.h"

namespace kilter {

/// What listens for long reads often: so all of it gives up soon, however deep within other work
/// it does so. Signal and flag are borrowed and must outlive this one. Cost: a load per read.
class StoppableSignal final : public AnalysisSignal {
 public:
  StoppableSignal(const AnalysisSignal& signal, const std::atomic<bool>& stop)
      : signal_(signal), stop_(stop) {}

  std::int64_t frames() const override { return signal_.frames(); }
  /// Fails as the signal does, and with `interrupted` once `stop` is set.
  Result<void> read(std::int64_t first, std::span<float> out) const override;

 private:
  const AnalysisSignal& signal_;
  const std::atomic<bool>& stop_;
};

}  // namespace kilter
