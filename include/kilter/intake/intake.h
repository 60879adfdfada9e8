// Reads every file of a session once: levels, and a 16 kHz copy of each channel for the analysis.
#pragma once

#include <atomic>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "kilter/base/byte_store.h"
#include "kilter/intake/level_meter.h"
#include "kilter/media/audio_file.h"
#include "kilter/media/file_ends.h"
#include "kilter/signal/analysis_signal.h"

namespace kilter::intake {

struct IntakeChannel {
  Levels levels;
  std::shared_ptr<const AnalysisSignal> signal;  ///< nothing when signals are not kept
  std::uint64_t digest{0};                       ///< of every sample: equal for equal channels
  int same_as{-1};  ///< an earlier channel of the file (from 0) with the same samples, or -1
  Envelope envelope{};
  std::vector<ZeroRun> zero_runs{};  ///< see LevelMeter
};

/// What is read as one: a file, or the files that a recorder split one take into, in order.
struct Recording {
  Recording(std::filesystem::path file) : parts{std::move(file)} {}  // NOLINT: a file is one
  explicit Recording(std::vector<std::filesystem::path> files) : parts(std::move(files)) {}
  std::vector<std::filesystem::path> parts;  ///< at least one
};

struct IntakeFile {
  std::filesystem::path file;   ///< the first part
  media::AudioInfo info;        ///< its length claim is of all parts
  Frames length;                ///< frames that could be decoded, at least 1
  std::optional<Error> damage;  ///< why decoding stopped before the end, where it did
  media::ReadNotes notes;
  std::vector<IntakeChannel> channels;
  std::vector<Frames> part_lengths{};        ///< those of each part, in order; their sum is length
  std::optional<media::StartStamp> stamp{};  ///< of the first part
  /// Part of the loud stretches, 0..1, in which the channels leave less than a tenth of the power
  /// that they have side by side when they are added up, as where one of two is upside down.
  double cancelling_share{0.0};
  /// Whether that is more than chance brings about.
  bool channels_cancel() const;
};

struct IntakeOptions {
  int threads{1};
  bool keep_signals{true};                 ///< off: levels only, faster and without scratch files
  bool measure_loudness{false};            ///< costs about as much as decoding WAV
  std::filesystem::path scratch_folder;    ///< empty: the system's folder for temporary files
  const std::atomic<bool>* stop{nullptr};  ///< set from elsewhere to give up
  std::function<void(double done)> progress;  ///< 0..1; from worker threads, one call at a time
};

/// Reads one recording to its end, or to where it is damaged: parts behind a damaged one are read
/// on from there, those behind one that does not open, or has another format, are left out and told
/// in `damage`. Fails with unreadable (this file only), cannot_write (the 16 kHz copies cannot be
/// kept), interrupted. Memory beside the decoder's: 0.8 MB and 0.25 MB per channel (0.53 MB
/// where the rate is below 16 kHz), whatever the length. Disk: 32 kB per channel-second, in one
/// open file.
Result<IntakeFile> take_in(const Recording& recording, const IntakeOptions& options);

/// The same for many, several at a time; result i belongs to recording i.
std::vector<Result<IntakeFile>> take_in_all(const std::vector<Recording>& recordings,
                                            const IntakeOptions& options);

/// Rooms of their own in `folder`, as that of the 16 kHz copies.
OpenByteStore scratch_stores(const std::filesystem::path& folder = {});

/// The file as one signal: the mean of its channels, silent and repeated ones left out; where they
/// cancel, the loudest alone. Nothing where all is silent or signals were not kept.
std::shared_ptr<const AnalysisSignal> whole_signal(const IntakeFile& file);

}  // namespace kilter::intake
