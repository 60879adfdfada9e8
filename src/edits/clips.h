// Stretches of original files that play at the speed they were recorded at, for lists that know no
// other. A clock's drift becomes a step wherever it has added up.
#pragma once

#include <cstdint>
#include <functional>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/edits/record_time.h"
#include "pieces.h"

namespace kilter::edits {

/// The whole units that a list counts time in: frames of picture, or samples. All of them from
/// midnight, on the record side and in the files.
struct Grid {
  std::int64_t numerator{25};  ///< units a second: numerator / denominator
  std::int64_t denominator{1};
  std::int64_t units_per_day{2160000};
  std::int64_t start{0};  ///< the unit that begins at origin_s
  double origin_s{0.0};   ///< timeline second
  /// How far a clip may lie from its place, in either direction: half of these units, and half a
  /// unit more where this is above 1.
  std::int64_t step{1};

  double units(double seconds) const;
  double line_s(std::int64_t unit) const;
};

/// One stretch at speed 1: `length` units from `source_from` in the file and `record_from` on.
struct Clip {
  Piece piece;  ///< that it begins in
  std::int64_t source_from{0};
  std::int64_t record_from{0};
  std::int64_t length{0};
  double early_s{0.0};  ///< by so much its source is ahead of what belongs at its beginning
};

/// A track's clips in order. They do not overlap, lie inside their files and inside the day.
struct TrackClips {
  std::vector<Clip> clips;
  bool beyond_day{false};   ///< something before 00:00:00:00 or after 24 h is left out
  bool other_speed{false};  ///< something is left out that differs more than clocks do
};

/// More than clocks differ, and than film against video does (1001 to 1000): a wrong header, which
/// a list at speed 1 would cut to shreds.
inline constexpr double kLargestSpeedChange = 0.005;

TrackClips clips_of(const LineupTrack& track, const Grid& grid, const SourceFactsOf& facts_of);

}  // namespace kilter::edits
