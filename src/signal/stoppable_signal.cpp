#include "kilter/signal/stoppable_signal.h"

namespace kilter {

Result<void> StoppableSignal::read(std::int64_t first, std::span<float> out) const {
  if (stop_.load(std::memory_order_relaxed))
    return Error{ErrorKind::interrupted, {}, "interrupted", ""};
  return signal_.read(first, out);
}

}  // namespace kilter
