// Lossy and lossless coding through libsndfile, in memory.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "kilter/base/result.h"

namespace kilter::simulator {

enum class Codec { none, opus, vorbis, mp3 };

struct Coding {
  Codec codec{Codec::none};
  double kbps{64.0};  ///< bit rate for one channel; Vorbis takes the nearest quality
};

/// Whether somebody wants the file, or only what it sounds like.
enum class CodedFile { wanted, not_wanted };

struct Coded {
  std::vector<char> bytes;     ///< the file; may be empty where it was not wanted
  std::vector<float> samples;  ///< what a reader gets, as long as the input
  double delay_s{0.0};         ///< how much later it holds the sound than the input did
};

/// Encodes one channel and decodes it again. Opus takes 8, 12, 16, 24 and 48 kHz only. The samples
/// are the same whether the file is wanted or not; without it Opus at 48 kHz takes less time.
/// Most codings keep the time to a quarter of a microsecond. Exceptions, measured: Opus at 48 kHz
/// below 56 kbit/s makes speech some 40 us early at 500 Hz and right above 7 kHz, in the mean 1 to
/// 28 us, as the voice will have it; MP3 below 32 kHz comes back 1105 frames late.
/// `Coded::delay_s` is measured on the sound at hand (sound_delay.h); a late coding loses its end.
/// Fails where libsndfile cannot write the format, or cannot read it back. Safe to call from many
/// threads.
Result<Coded> code(std::span<const float> samples, double rate_hz, Coding coding,
                   CodedFile file = CodedFile::wanted);

/// "none", "opus", ...
const char* to_text(Codec codec);
/// Of a file so coded: ".opus", ".ogg", ".mp3"; ".wav" for none.
const char* extension(Codec codec);

}  // namespace kilter::simulator
