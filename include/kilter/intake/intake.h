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

#include "kilter/intake/level_meter.h"
#include "kilter/media/audio_file.h"
#include "kilter/signal/analysis_signal.h"

namespace kilter::intake {

struct IntakeChannel {
  Levels levels;
  std::shared_ptr<const AnalysisSignal> signal;  ///< nothing when signals are not kept
  std::uint64_t digest{0};                       ///< of every sample: equal for equal channels
  int same_as{-1};  ///< an earlier channel of the file (from 0) with the same samples, or -1
};

struct IntakeFile {
  std::filesystem::path file;
  media::AudioInfo info;
  Frames length;                      ///< frames that could be decoded, at least 1
  std::optional<std::string> damage;  ///< why decoding stopped before the end, where it did
  std::vector<IntakeChannel> channels;
};

struct IntakeOptions {
  int threads{1};
  bool keep_signals{true};                 ///< off: levels only, faster and without scratch files
  std::filesystem::path scratch_folder;    ///< empty: the system's folder for temporary files
  const std::atomic<bool>* stop{nullptr};  ///< set from elsewhere to give up
  std::function<void(double done)> progress;  ///< 0..1; from worker threads, one call at a time
};

/// Reads one file to its end, or to where it is damaged.
/// Fails with unreadable (this file only), cannot_write (the 16 kHz copies cannot be kept),
/// interrupted. Memory beside the decoder's: 0.5 MB and 0.12 MB per channel (0.4 MB where the rate
/// is below 16 kHz), whatever the length. Disk: 32 kB per channel-second, in one open file.
Result<IntakeFile> take_in(const std::filesystem::path& file, const IntakeOptions& options);

/// The same for many files, several at a time; result i belongs to file i.
std::vector<Result<IntakeFile>> take_in_all(const std::vector<std::filesystem::path>& files,
                                            const IntakeOptions& options);

/// The file as one signal: the mean of its channels, silent and repeated ones left out. Nothing
/// where all is silent or signals were not kept.
std::shared_ptr<const AnalysisSignal> whole_signal(const IntakeFile& file);

}  // namespace kilter::intake
