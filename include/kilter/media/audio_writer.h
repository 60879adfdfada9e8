// Writing audio files.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>

#include "kilter/base/result.h"
#include "kilter/base/units.h"

namespace kilter::media {

enum class Container { wav };
enum class SampleFormat { pcm16, pcm24, float32 };

struct WriterOptions {
  SampleRate rate;  ///< a whole number of hertz
  int channels{1};
  SampleFormat format{SampleFormat::pcm24};
  Container container{Container::wav};
};

/// The most frames that a file of this container, format and number of channels can hold.
Frames longest_file(const WriterOptions& options);

/// One audio file being written. The sound goes to NAME.part, which becomes NAME in finish(), so
/// that NAME is never half a file; without finish() the destructor removes NAME.part. The same
/// frames give the same bytes. Not for use by two threads at a time.
class AudioWriter {
 public:
  /// Fails (cannot_write) when NAME.part cannot be made or the format cannot hold the rate or the
  /// channels. An existing NAME is replaced, in finish().
  static Result<AudioWriter> create(const std::filesystem::path& file,
                                    const WriterOptions& options);
  AudioWriter(AudioWriter&&) noexcept;
  AudioWriter& operator=(AudioWriter&&) noexcept;
  ~AudioWriter();

  /// Appends frames, full scale at +-1. Integer formats round to nearest and saturate; NaN is
  /// written as 0, and so is infinity in float32. Fails (cannot_write) on a full disk, or before
  /// the file would outgrow its container (WAV: 4 GiB). After a failure only destruction is left.
  Result<void> write(std::span<const float> interleaved);
  /// Closes, checks and renames. Fails with cannot_write; NAME is then untouched.
  Result<void> finish();

  Frames written() const;
  /// The frames of the latest write() as a reader will find them, valid until the next one.
  std::span<const float> latest_as_read() const;
  /// Samples that lay beyond full scale of an integer format and were saturated.
  std::int64_t clipped_samples() const;

 private:
  struct State;
  explicit AudioWriter(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace kilter::media
