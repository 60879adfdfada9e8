// Stretches of a finished file, from anywhere in it.
#pragma once

#include <filesystem>
#include <memory>
#include <span>

#include "kilter/base/result.h"
#include "kilter/base/units.h"

namespace kilter::media {

/// Reads WAV, RF64 and FLAC files such as AudioWriter makes, in any order. Not for use by two
/// threads at a time. Memory: none that grows with the file.
class StretchReader {
 public:
  /// Fails (unreadable) where the file is missing, is none that libsndfile reads, or holds no
  /// frame.
  static Result<StretchReader> open(const std::filesystem::path& file);
  StretchReader(StretchReader&&) noexcept;
  StretchReader& operator=(StretchReader&&) noexcept;
  ~StretchReader();

  SampleRate rate() const;
  int channels() const;
  Frames length() const;
  /// Fills `interleaved` (its size a multiple of channels()) with the frames from `first` on, full
  /// scale at +-1. Fails (unreadable) where not all of them are there or can be read.
  Result<void> read(Frames first, std::span<float> interleaved);

 private:
  struct State;
  explicit StretchReader(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace kilter::media
