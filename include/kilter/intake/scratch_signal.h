// An analysis signal kept on disk, so that a session of any length fits in little memory.
#pragma once

#include <cstddef>
#include <filesystem>
#include <memory>
#include <vector>

#include "kilter/signal/analysis_signal.h"

namespace kilter::intake {

/// Written once from start to end, then read at random. The signals of one audio file share a file,
/// so that many channels need no more open files than few. It has no name from the moment it is
/// open: it vanishes with the last of its signals, or with the process, however that ends.
///
/// Stored in blocks of 16 bits with a scale of their own: an error at least 96 dB below the peak of
/// the 32 ms around it, 32 kB per second. Writing is for one thread, reading for many. Memory: 260
/// kB until finish().
class ScratchSignal final : public AnalysisSignal {
 public:
  /// `count` (at least 1) signals in one file. Fails (cannot_write) when no file can be made in
  /// `folder`.
  static Result<std::vector<std::unique_ptr<ScratchSignal>>> create(
      const std::filesystem::path& folder, int count);

  /// Fails (cannot_write) when the disk is full.
  Result<void> append(std::span<const float> frames);
  /// Writes what is still in memory. To be called once, before the first read().
  Result<void> finish();

  std::int64_t frames() const override { return frames_; }
  Result<void> read(std::int64_t first, std::span<float> out) const override;

 private:
  struct Chunks;

  ScratchSignal(std::shared_ptr<const Chunks> chunks, int index);
  void encode_block();
  Result<void> write_encoded();

  std::shared_ptr<const Chunks> chunks_;
  int index_;  // among the signals of the file
  std::int64_t chunks_written_{0};
  std::int64_t frames_{0};
  std::vector<float> pending_;      // frames of the unfinished block
  std::vector<std::byte> encoded_;  // blocks on their way to the disk
};

/// The mean of several signals, for a mix in stereo. Holds its parts; memory only while reading.
class MeanSignal final : public AnalysisSignal {
 public:
  /// At least one part; all of the same length.
  explicit MeanSignal(std::vector<std::shared_ptr<const AnalysisSignal>> parts);
  std::int64_t frames() const override { return parts_.front()->frames(); }
  Result<void> read(std::int64_t first, std::span<float> out) const override;

 private:
  std::vector<std::shared_ptr<const AnalysisSignal>> parts_;
};

}  // namespace kilter::intake
