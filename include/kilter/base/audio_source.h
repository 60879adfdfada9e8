// The seam between files and sound: what reads audio for everybody who does not know files.
#pragma once

#include <span>

#include "kilter/base/result.h"
#include "kilter/base/units.h"

namespace kilter {

/// A stream of audio, read once from its start to its end. Not for use by two threads at a time.
class AudioSource {
 public:
  AudioSource() = default;
  AudioSource(const AudioSource&) = delete;
  AudioSource& operator=(const AudioSource&) = delete;
  virtual ~AudioSource() = default;

  virtual SampleRate rate() const = 0;
  /// At least 1.
  virtual int channels() const = 0;
  /// What the header claims, 0 where it claims nothing sensible. A hint: never allocate from it.
  virtual Frames claimed_length() const = 0;
  /// Fills `interleaved` (its size a multiple of channels()) with full scale at +-1; integer files
  /// are scaled by 2^(bits-1). Returns the frames read: fewer than asked only at the end, 0 after.
  /// Where the sound breaks off damaged, what was read so far is delivered first, short as at an
  /// end, and every later call fails: read on until 0 frames or an error come back.
  virtual Result<Frames> read(std::span<float> interleaved) = 0;
};

}  // namespace kilter
