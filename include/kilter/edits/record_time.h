// Where timecode meets the timeline, and where it meets the files.
#pragma once

#include <cstdint>
#include <functional>

#include "kilter/base/lineup.h"
#include "kilter/edits/timecode.h"

namespace kilter::edits {

/// The record timecode of a session.
struct RecordTime {
  FrameRate rate;
  std::int64_t start_frame{90000};  ///< from 00:00:00:00: that of `origin_s`
  double origin_s{0.0};             ///< timeline second of every stem's first sample
};

/// What a list wants to know of an original file and the lineup does not hold.
struct SourceFacts {
  /// Samples from midnight to the file's first, at the file's rate: `bext` calls it so. 0 where a
  /// file carries no timecode.
  std::int64_t time_reference{0};
  bool has_picture{false};  ///< then `time_reference` counts from where its first picture is 0
};
/// Empty: no file carries timecode or picture.
using SourceFactsOf = std::function<SourceFacts(const TrackPart& part)>;

}  // namespace kilter::edits
