#pragma once

#include <functional>

namespace kilter {

/// Runs `work(0) .. work(count - 1)`, each once, on up to `threads` threads (at least 1), and
/// returns when all have ended. Order is not given: a caller that wants the same bits for any
/// thread count writes result i to slot i and adds up afterwards. The first exception is thrown
/// again here. Where the system gives fewer threads, those do all the work.
void parallel_for(int count, int threads, const std::function<void(int)>& work);

/// The same, and `work(i, worker)` hears which worker it is, from 0 to below `threads`: by that it
/// finds what it keeps from one call to the next.
void parallel_for_workers(int count, int threads,
                          const std::function<void(int index, int worker)>& work);

/// The machine's cores, at least 1.
int available_threads();

}  // namespace kilter
