// Stems: every track on the timeline, all with the same start, length and rate.
#pragma once

#include <atomic>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/conform/listening_clips.h"
#include "kilter/edits/timecode.h"
#include "kilter/media/audio_writer.h"

namespace kilter::conform {

/// Which stretch of the timeline all stems hold: the mix's, everything recorded, or what every
/// placed track covers.
enum class StemRange { mix, all, shared };

struct ConformOptions {
  StemRange range{StemRange::mix};
  double rate_hz{0.0};  ///< 0: the timeline's
  media::SampleFormat format{media::SampleFormat::pcm24};
  /// WAV becomes RF64 by itself where a stem would not fit.
  media::Container container{media::Container::wav};
  edits::FrameRate frame_rate{};  ///< of the timecode that stems carry
  std::int64_t start_frame{0};    ///< the timecode of their first sample, from 00:00:00:00
  std::string program{"kilter"};  ///< what they say made them
  int threads{1};
  /// Called with 0..1, never by two threads at a time; may be empty.
  std::function<void(double done)> progress;
  /// Looked at after every block; when true, conform() gives up (interrupted). May be null.
  const std::atomic<bool>* stop{nullptr};
};

struct Stem {
  std::string track;
  std::filesystem::path file;    ///< relative to the stems' folder; empty when there is no stem;
                                 ///< takes of one voice share theirs
  std::optional<Error> failure;  ///< why an asked-for stem is missing
  std::int64_t clipped_samples{0};
  std::uint64_t digest{0};  ///< of its samples (see SampleDigest); takes that share a stem, alike
};

struct ConformReport {
  double rate_hz{0.0};
  double from_s{0.0};       ///< timeline second of every stem's first frame
  std::int64_t frames{0};   ///< of every stem
  std::vector<Stem> stems;  ///< one per track of the lineup, in its order
  std::optional<Stem> mix;  ///< the mix as a stem; nothing without a mix
  /// By write_clips(), where they were asked for: conform() leaves it empty.
  std::optional<ListeningClips> clips{};

  double length_s() const { return static_cast<double>(frames) / rate_hz; }
};

/// Writes a mono file per placed track, or per voice of several takes, into `stems_folder`, which
/// is made. Tracks with the role `ignore` or `mix` and unplaced ones get none. An inverted track is
/// turned right way up. The mix becomes a stem as well, with all its channels, moved by whole
/// frames only where its rate allows. `session_folder` is where relative part names start.
///
/// Where the clock and the rate are the timeline's and the place is a whole frame, samples are
/// copied. What was computed, or has more bits than the stem, is dithered (another noise for each
/// stem). On either side of what was lost the sound is faded over 5 ms, and at a track's start and
/// end over 2 ms where it would click; the mix is never faded. Files carry `bext`, iXML and a cue
/// at every place where sound is missing or was cut out (see media::BroadcastNotes).
///
/// A track that cannot be read is a `failure` in its row and stops no other. Fails with
/// cannot_write (a stem cannot be written, or the disk has not the room for all of them, which is
/// told before the work), no_input (no track is placed, or the range is empty), bad_command (a rate
/// no stem can have, or a kind of file that cannot hold one) or interrupted. What it wrote so far
/// is then left for the caller to remove: give it a folder inside a StagedFolder. Same bytes for
/// any `threads`. Memory: about 3 MB for each thread, and 1 MB.
Result<ConformReport> conform(const Lineup& lineup, const std::filesystem::path& session_folder,
                              const std::filesystem::path& stems_folder,
                              const ConformOptions& options);

/// The files that conform() makes of a lineup, in the stems' folder: of the kind that the marks of
/// its stems tell, WAV where it has none.
struct StemFiles {
  std::vector<std::filesystem::path> tracks;
  std::optional<std::filesystem::path> mix;  ///< nothing without a mix
};
StemFiles stem_files(const Lineup& lineup);

/// File names for tracks: legal on every system, and different even where case, or two spellings of
/// an accented letter, are not told apart (name_key()). Without an ending. One per name, in order.
std::vector<std::string> safe_file_names(const std::vector<std::string>& track_names);

}  // namespace kilter::conform
