#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <string>

#include "kilter/base/file_output.h"
#include "kilter/media/audio_writer.h"

namespace kilter::media {

struct FormatFacts {
  int bits;
  bool is_float;
  int bytes() const { return bits / 8; }
};
FormatFacts facts_of(SampleFormat format);

/// Samples that a sink takes with one call.
constexpr std::size_t kMostAtOnce = 4096;

/// A container that is being filled. Where a call fails and the output has no problem of its own,
/// the container has; words() tells.
class SoundSink {
 public:
  SoundSink() = default;
  SoundSink(const SoundSink&) = delete;
  SoundSink& operator=(const SoundSink&) = delete;
  virtual ~SoundSink() = default;

  /// Whole frames, at most kMostAtOnce samples: steps of an integer format, or the bits of
  /// floating-point numbers.
  virtual bool write(std::span<const std::int32_t> samples) = 0;
  /// `length`: of all that was written.
  virtual bool finish(Frames length) = 0;
  virtual std::string words() const { return {}; }
};

/// One that writes nothing before the first write(), or nullptr with why in `words`. `options` are
/// none that refusal() refuses.
std::unique_ptr<SoundSink> make_riff_sink(const WriterOptions& options, FileOutput& output);
std::unique_ptr<SoundSink> make_flac_sink(const WriterOptions& options, FileOutput& output,
                                          std::string& words);

/// The most bytes of sound that fit into WAV beside these notes.
std::int64_t most_wav_bytes(const WriterOptions& options);

}  // namespace kilter::media
