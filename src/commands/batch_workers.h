// Work in processes of its own: a crash there, or a lack of memory, is the end of that work only.
#pragma once

#include <sys/types.h>

#include <atomic>
#include <chrono>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "kilter/base/result.h"

namespace kilter::commands {

/// Not for use by two threads; start() only while no other threads run.
class BatchWorkers {
 public:
  /// Gives a text back. `stop` tells it to end early and clean.
  using Work = std::function<std::string(const std::atomic<bool>& stop)>;

  struct Ended {
    std::size_t id{0};
    std::string text;  ///< what the work gave back; unfinished where it failed
    bool failed{false};
    int signal{0};  ///< which killed it
  };

  /// `stop`: which a signal handler sets; in a process of work, too.
  explicit BatchWorkers(const std::atomic<bool>& stop) : stop_(stop) {}
  BatchWorkers(const BatchWorkers&) = delete;
  BatchWorkers& operator=(const BatchWorkers&) = delete;
  /// Tells what still runs to stop, and waits. The end of this process, however it comes about,
  /// does the same; what has not stopped 2 s later is ended.
  ~BatchWorkers();

  /// Fails (bug) where the system gives no process.
  Result<void> start(std::size_t id, const Work& work);
  std::size_t running() const { return workers_.size(); }
  /// Waits until work ends, or for so long.
  std::optional<Ended> wait(std::chrono::milliseconds longest);
  /// Tells all work to stop.
  void stop_all();

 private:
  struct Worker {
    std::size_t id{0};
    pid_t process{0};
    int leash{-1};   // at its end, or a byte in it, the work stops
    int result{-1};  // where its text comes from
    std::string text;
  };

  [[noreturn]] void be_worker(const Work& work, int leash, int result) const;
  Ended finish(std::size_t index);

  const std::atomic<bool>& stop_;
  std::vector<Worker> workers_;
};

}  // namespace kilter::commands
