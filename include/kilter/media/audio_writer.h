// Writing audio files.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>

#include "kilter/base/result.h"
#include "kilter/base/units.h"
#include "kilter/media/broadcast_notes.h"

namespace kilter::media {

enum class Container {
  wav,   ///< up to 4 GiB
  rf64,  ///< WAV with 64-bit sizes (EBU Tech 3306), whatever the length
  flac   ///< 16 and 24 bit, up to 8 channels and 2^36 - 1 frames
};
enum class SampleFormat { pcm16, pcm24, float32 };

/// How an integer format meets samples that lie between its steps.
enum class Rounding {
  exact,    ///< to the nearest step: for sound that the format holds as it is
  dithered  ///< to the nearest after adding noise: for sound that was computed
};

struct WriterOptions {
  SampleRate rate;  ///< a whole number of hertz
  int channels{1};
  SampleFormat format{SampleFormat::pcm24};
  Container container{Container::wav};
  /// Which noise dithers: another for each file that may be mixed with this one.
  std::uint64_t dither_seed{0};
  /// Without them the file holds nothing but its sound.
  std::optional<BroadcastNotes> notes{std::nullopt};
};

/// Why no such file can be written, if so (cannot_write, naming `file`): a rate, format or number
/// of channels that the container does not have, notes of a wrong form or longer than readers take.
/// Touches no disk.
std::optional<Error> refusal(const WriterOptions& options, const std::filesystem::path& file);

/// The most frames that a file of this container, format, number of channels and notes can hold.
/// WAV: what its 32-bit sizes leave beside header and notes, for which 64 KiB are kept free in any
/// case: so it is the same without notes and with any but very many cues. RF64: 2^53 bytes, which
/// every reader's arithmetic bears.
Frames longest_file(const WriterOptions& options);

/// `options.container`, but RF64 where it is WAV and `length` is more than that holds.
Container container_for(const WriterOptions& options, Frames length);

/// One audio file being written. The sound goes to NAME.part, which becomes NAME in finish(), so
/// that NAME is never half a file; without finish() the destructor removes NAME.part. The same
/// frames give the same bytes, in FLAC with the same version of the library, whatever the sizes of
/// the blocks. Not for use by two threads at a time.
class AudioWriter {
 public:
  /// Fails (cannot_write) as refusal() has it or when NAME.part cannot be made. An existing NAME is
  /// replaced, in finish().
  static Result<AudioWriter> create(const std::filesystem::path& file,
                                    const WriterOptions& options);
  AudioWriter(AudioWriter&&) noexcept;
  AudioWriter& operator=(AudioWriter&&) noexcept;
  ~AudioWriter();

  /// Appends frames, full scale at +-1. Integer formats round and saturate; NaN is written as 0,
  /// and so is infinity in float32. Fails (cannot_write) on a full disk, or before the file would
  /// outgrow its container; as bytes are gathered, a later write() or finish() may be the first to
  /// hear of a full disk. After a failure only destruction is left.
  ///
  /// Dithered, an integer format's error has no mean and one variance, a quarter of a step squared,
  /// whatever the sound: noise of triangular density within +-1 step is added before rounding
  /// (Lipshitz, Wannamaker and Vanderkooy, J. Audio Eng. Soc. 40(5), 1992). It depends on the seed
  /// and on the sample's place in the file alone. Samples of exactly 0 stay 0. float32 is never
  /// dithered.
  Result<void> write(std::span<const float> interleaved, Rounding rounding = Rounding::exact);
  /// Ends the file and leaves it to the disk, as far as that goes without waiting: then finish()
  /// has little left to do, and a file ended before that one waits beside it. No write() after it.
  /// Fails with cannot_write.
  Result<void> end();
  /// Ends the file if that is not done, waits until the disk holds it, and renames. Fails with
  /// cannot_write; NAME is then untouched. That the new name outlives a loss of power, see to by
  /// sync_folder().
  Result<void> finish();

  Frames written() const;
  /// The frames of the latest write() as a reader will find them, valid until the next one.
  std::span<const float> latest_as_read() const;
  /// Samples that lay beyond full scale, +-1, and were saturated by an integer format. Full scale
  /// itself is not counted: +1, as a -1 that was turned round, is stored as the highest step, one
  /// below. Nor is what only rounding or dither would carry beyond.
  std::int64_t clipped_samples() const;
  /// Cues of the notes that the file does not hold: before its first frame, after its end, beyond
  /// the 32 bits of a cue's place, or all of them in FLAC. Known after finish().
  std::int64_t cues_left_out() const;

 private:
  struct State;
  explicit AudioWriter(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace kilter::media
