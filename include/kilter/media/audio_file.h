// Reading audio files.
#pragma once

#include <filesystem>
#include <memory>
#include <string>

#include "kilter/base/audio_source.h"
#include "kilter/base/result.h"

namespace kilter::media {

/// What a header says of an audio file.
struct AudioInfo {
  std::string format;  ///< for people: "WAV 24-bit", "FLAC 16-bit", "MP3", "Ogg Opus"
  SampleRate rate;
  int channels{0};
  Frames claimed_length;  ///< 0 where the header claims nothing sensible
  bool lossy{false};
};

struct OpenAudio {
  AudioInfo info;
  std::unique_ptr<AudioSource> source;
};

/// Opens a file for one streaming read through libsndfile. NaN and infinite samples are read as 0.
/// Fails (unreadable) when the file is missing, empty, not audio, or outside the accepted limits
/// (1 to 64 channels, 1 kHz to 768 kHz). Safe to call from many threads.
Result<OpenAudio> open_audio(const std::filesystem::path& file);

/// Whether the name ends like an audio file that open_audio might read, or that an editor would
/// expect it to (for example .m4a): decides what a folder scan looks at, nothing else.
bool has_audio_name(const std::filesystem::path& file);

}  // namespace kilter::media
