// The one-channel signal at 16 kHz that all analysis reads, wherever it is kept.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "kilter/base/result.h"

namespace kilter {

/// Rate of every analysis signal: speech keeps its timing below 7.2 kHz, and the lower rate makes
/// the whole analysis three times cheaper than 48 kHz.
inline constexpr int kAnalysisRateHz = 16000;

/// Random access to one track at kAnalysisRateHz, in the track's own nominal time: frame i is heard
/// at track time i / kAnalysisRateHz. Safe to read from many threads.
class AnalysisSignal {
 public:
  AnalysisSignal() = default;
  AnalysisSignal(const AnalysisSignal&) = delete;
  AnalysisSignal& operator=(const AnalysisSignal&) = delete;
  virtual ~AnalysisSignal() = default;

  virtual std::int64_t frames() const = 0;
  /// Fills `out` with frames `first` .. `first + out.size() - 1`; frames outside the track are 0.
  virtual Result<void> read(std::int64_t first, std::span<float> out) const = 0;
};

/// An analysis signal kept in memory: for tests and for short sessions.
class MemorySignal final : public AnalysisSignal {
 public:
  explicit MemorySignal(std::vector<float> samples) : samples_(std::move(samples)) {}
  std::int64_t frames() const override { return static_cast<std::int64_t>(samples_.size()); }
  Result<void> read(std::int64_t first, std::span<float> out) const override;

 private:
  std::vector<float> samples_;
};

}  // namespace kilter
