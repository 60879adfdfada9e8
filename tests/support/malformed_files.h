// Files that are broken in one way each, and what a reader owes to them.
#pragma once

#include <functional>
#include <string>
#include <vector>

namespace kilter::test {

enum class Expect {
  refused,  // an error, and no sound
  told,     // sound, and a note or an error of what is wrong
  whole     // sound as if nothing were wrong: what is broken does not matter to us
};

/// One second of noise at 48 kHz, broken.
struct Defect {
  const char* name;
  const char* kind;     // file ending
  const char* options;  // of ffmpeg; "" for what libsndfile writes
  std::function<void(std::string&)> damage;
  Expect expect;
};

void PrintTo(const Defect& defect, std::ostream* out);

constexpr int kMalformedRateHz = 48000;
constexpr int kMalformedFrames = 48000;

std::vector<Defect> wav_defects();
std::vector<Defect> other_pcm_defects();
std::vector<Defect> lossy_defects();
std::vector<Defect> mp4_defects();
std::vector<Defect> matroska_defects();
/// All of them.
std::vector<Defect> all_defects();

/// Whether only FFmpeg's libraries read files of this ending, or read them rightly when cut.
bool needs_libav(const std::string& kind);

/// The broken file's bytes; empty where the good one could not be made. Not thread-safe.
std::string malformed_file(const Defect& defect);

}  // namespace kilter::test
