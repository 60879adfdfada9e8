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

/// How much of stems of `length_s` lies behind midnight, where timecode begins anew, and so in no
/// list but the cuts: seconds, 0 where all of it fits into the day.
inline double past_midnight_s(const RecordTime& record, double length_s) {
  const std::int64_t left = record.rate.frames_per_day() - record.start_frame;
  const double day_left_s = static_cast<double>(left) *
                            static_cast<double>(record.rate.denominator()) /
                            static_cast<double>(record.rate.numerator());
  return length_s > day_left_s ? length_s - day_left_s : 0.0;
}

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
