// Short clips of a finished stem beside the mix, for a person who wants to hear whether it is
// right.
#pragma once

#include <atomic>
#include <cstddef>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"

namespace kilter::conform {

struct ConformReport;

/// Why a place is worth hearing; in this order where two places are one.
enum class ClipReason { seam, residual, evidence, start, end };

/// A place that somebody should hear.
struct ClipPlace {
  std::size_t track{0};  ///< of the lineup
  ClipReason reason{ClipReason::start};
  /// What must be heard, on the timeline. Of a start or an end: where the track starts or ends; the
  /// clip is then taken from the nearest talk within a minute.
  Stretch at;
  std::string words;  ///< "a step of +1.7 s"; may be empty
};

struct Clip {
  std::size_t track{0};
  std::filesystem::path file;  ///< in the clips' folder
  std::string words;           ///< what to listen for: "seam: a step of +1.7 s"
  double at_s{0.0};            ///< timeline: the place
  double from_s{0.0};          ///< timeline: where the clip begins
  double length_s{0.0};
};

/// Seams that have no clip because the track has so many.
struct SeamsLeftOut {
  std::size_t track{0};
  int count{0};
};

struct ListeningClips {
  std::vector<Clip> clips;  ///< by track, then by time
  std::vector<SeamsLeftOut> left_out;
};

struct ClipOptions {
  std::function<void(double done)> progress;  ///< may be empty
  const std::atomic<bool>* stop{nullptr};     ///< looked at before every clip; may be null
};

/// Writes a clip for each place into `folder`, which is made: stereo, 16-bit WAV at the stems'
/// rate, 8 s long and more where what must be heard is longer, 14 s at most; the mix on the left,
/// all its channels together, the stem on the right, at the level at which the mix speaks there (30
/// dB up or down at most). Where either would go beyond full scale both are turned down. Places
/// closer than 4 s share a clip. Places of tracks without a stem, and outside the stems' time, get
/// none. Files are named TRACK_00h03m23s_seam.wav by the timeline second of the place; clips.tsv
/// beside them lists them.
///
/// `report` tells the stems that lie in `stems_folder`, and must have a mix among them. Fails with
/// cannot_write (a clip cannot be written, or a stem that was just written cannot be read) or
/// interrupted; what it wrote so far is then left for the caller to remove. Memory: 14 s of mix and
/// stem.
Result<std::vector<Clip>> write_clips(const Lineup& lineup, const ConformReport& report,
                                      const std::filesystem::path& stems_folder,
                                      const std::filesystem::path& folder,
                                      const std::vector<ClipPlace>& places,
                                      const ClipOptions& options);

/// The clips that the table in `folder` lists, and the table: what write_clips() once wrote there.
/// None where it is missing or another's.
std::vector<std::filesystem::path> clip_files_in(const std::filesystem::path& folder);

}  // namespace kilter::conform
