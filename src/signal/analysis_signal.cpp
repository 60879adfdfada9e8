#include "kilter/signal/analysis_signal.h"

#include <algorithm>

namespace kilter {

Result<void> MemorySignal::read(std::int64_t first, std::span<float> out) const {
  std::fill(out.begin(), out.end(), 0.0F);
  const std::int64_t from = std::max<std::int64_t>(first, 0);
  const std::int64_t to = std::min<std::int64_t>(first + std::ssize(out), frames());
  if (from < to)
    std::copy(samples_.begin() + from, samples_.begin() + to, out.begin() + (from - first));
  return {};
}

}  // namespace kilter
