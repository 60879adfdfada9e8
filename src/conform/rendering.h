// All stems of a session, written at the same time.
#pragma once

#include <atomic>
#include <cstdint>
#include <filesystem>
#include <mutex>
#include <optional>
#include <vector>

#include "kilter/conform/conform.h"
#include "stem.h"

namespace kilter::conform {

/// Progress over all stems, told by many threads.
class Progress {
 public:
  Progress(const ConformOptions& options, std::int64_t total_frames)
      : options_(options), total_(static_cast<double>(total_frames)) {}

  /// Whether to go on.
  bool advance(std::int64_t frames) {
    if (options_.progress) {
      const std::lock_guard lock(mutex_);
      done_ += frames;
      options_.progress(static_cast<double>(done_) / total_);
    }
    return !abandoned_ && !interrupted();
  }
  void abandon() { abandoned_ = true; }
  bool interrupted() const { return options_.stop != nullptr && options_.stop->load(); }
  bool abandoned() const { return abandoned_; }

 private:
  const ConformOptions& options_;
  double total_;
  std::mutex mutex_;
  std::int64_t done_{0};
  std::atomic<bool> abandoned_{false};
};

/// One stem's outcome, kept until all have ended.
struct Outcome {
  WrittenStem written;
  std::optional<Error> failure;
};

/// What all renders need to know.
struct Work {
  const std::vector<StemPlan>& stems;
  const std::vector<Result<media::WriterOptions>>& formats;  // one each, or why there is no stem
  const std::filesystem::path& session_folder;
  const StemShape& shape;
  const std::filesystem::path& folder;
};

/// Writes all stems on up to `threads` threads: those that share files side by side, so that each
/// file is decoded once, the others each by one thread. A stem that cannot be read stops no other;
/// one that cannot be written stops all.
std::vector<Outcome> render_all(const Work& work, int threads, Progress& progress);

}  // namespace kilter::conform
