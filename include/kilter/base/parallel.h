#pragma once

#include <algorithm>
#include <atomic>
#include <functional>

namespace kilter {

/// Runs `work(0) .. work(count - 1)`, each once, on up to `threads` threads (at least 1), and
/// returns when all have ended. Order is not given: a caller that wants the same bits for any
/// thread count writes result i to slot i and adds up afterwards. The first exception is thrown
/// again here. Where the system gives fewer threads, those do all the work.
void parallel_for(int count, int threads, const std::function<void(int)>& work);

/// The same with a tool for each thread: `work(i, tool)` has what `make()` gave to that thread, and
/// left in it what the calls before did.
template <typename Make, typename Work>
void parallel_with(int count, int threads, const Make& make, const Work& work) {
  std::atomic<int> next{0};
  const int workers = std::clamp(threads, 1, std::max(count, 1));
  parallel_for(workers, workers, [&](int) {
    int i = next++;
    if (i >= count) return;
    try {
      auto tool = make();
      for (; i < count; i = next++) work(i, tool);
    } catch (...) {
      next = count;
      throw;
    }
  });
}

/// The machine's cores, at least 1.
int available_threads();

}  // namespace kilter
