// Reading audio files.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "kilter/base/audio_source.h"
#include "kilter/base/result.h"
#include "kilter/media/read_notes.h"

namespace kilter::media {

/// What a header says of an audio file.
struct AudioInfo {
  std::string format;  ///< for people: "WAV 24-bit", "FLAC 16-bit", "MP3", "Ogg Opus", "MP4 AAC"
  SampleRate rate;
  int channels{0};
  Frames claimed_length;  ///< 0 where the header claims nothing sensible
  bool lossy{false};
  int bits{0};  ///< of its whole-number samples; 0 where they are none (float, lossy)
  /// How long after the first picture the first frame sounds; negative: before. 0 without a
  /// picture.
  double start_in_file_s{0.0};
  bool has_video{false};
  std::optional<double> video_fps{};  ///< mean pictures per second, where the file tells
  /// Timecode of the first picture as real seconds after midnight: its frame count over video_fps.
  std::optional<double> timecode_s{};
  /// The coder's lead-in (20 to 60 ms, mostly silence) stands before the sound because the file
  /// does not say how long it is: the sound starts that much later than it was recorded.
  /// MP3 through libsndfile counts as such too, because that does not tell.
  bool has_lead_in{false};
  int further_sounds{0};  ///< other streams of sound in the file, which are not read
};

/// An AudioSource that also tells what it noticed.
class FileSource : public AudioSource {
 public:
  virtual const ReadNotes& notes() const = 0;
};

struct OpenAudio {
  AudioInfo info;
  std::unique_ptr<FileSource> source;
};

/// Opens a file for one streaming read: through libsndfile what that reads, all else through
/// FFmpeg's libraries where the program was built with them (see reads_video_files).
///
/// The first frame is the first that the file means to be heard: encoder delay and padding are
/// removed where the file states them. Where time stamps leap by more than 10 ms, silence is put in
/// or the overlap left out, and notes() tell; smaller differences are ignored, frames are counted.
/// NaN and infinite samples, and those above 1e5, are read as 0.
///
/// Fails (unreadable) when the file is missing, empty, not audio, or outside the accepted limits (1
/// to 64 channels, 1 kHz to 768 kHz). Reading fails beyond 48 hours of sound, and where silence
/// between stamps outgrows the sound by an hour. Safe to call from many threads.
Result<OpenAudio> open_audio(const std::filesystem::path& file);

/// Whether this build reads AAC, MP4, WebM and the like.
bool reads_video_files();

/// Whether the name ends like an audio file that open_audio might read, or that an editor would
/// expect it to (for example .m4a): decides what a folder scan looks at, nothing else.
bool has_audio_name(const std::filesystem::path& file);

/// Whether an ordinary file begins like sound or video of any kind that we know, read or not,
/// whatever its name. Reads less than a kilobyte. Safe to call from many threads.
bool begins_like_audio(const std::filesystem::path& file);

}  // namespace kilter::media
