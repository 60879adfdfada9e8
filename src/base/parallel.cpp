#include "kilter/base/parallel.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <mutex>
#include <new>
#include <system_error>
#include <thread>
#include <vector>

namespace kilter {

void parallel_for(int count, int threads, const std::function<void(int)>& work) {
  const int workers = std::clamp(threads, 1, std::max(count, 1));
  if (workers == 1) {
    for (int i = 0; i < count; ++i) work(i);
    return;
  }
  std::atomic<int> next{0};
  std::exception_ptr first_failure;
  std::mutex failure_mutex;
  const auto loop = [&] {
    for (int i = next.fetch_add(1); i < count; i = next.fetch_add(1)) {
      try {
        work(i);
      } catch (...) {
        const std::lock_guard lock(failure_mutex);
        if (!first_failure) first_failure = std::current_exception();
        next.store(count);
      }
    }
  };
  std::vector<std::thread> pool;
  pool.reserve(static_cast<std::size_t>(workers - 1));
  try {
    for (int i = 1; i < workers; ++i) pool.emplace_back(loop);
  } catch (const std::system_error&) {  // no more threads to be had: fewer do the same work
  } catch (const std::bad_alloc&) {     // nor memory for one
  }
  loop();
  for (std::thread& thread : pool) thread.join();
  if (first_failure) std::rethrow_exception(first_failure);
}

int available_threads() {
  return std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
}

}  // namespace kilter
