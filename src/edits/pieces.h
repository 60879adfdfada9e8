// A track's map, taken apart where its files and its spans end.
#pragma once

#include <cstdint>
#include <vector>

#include "kilter/base/lineup.h"

namespace kilter::edits {

/// A stretch of one original file inside one span of the map, or what comes to be one. Keeps a
/// pointer into the lineup.
struct Piece {
  const LineupTrack* track{nullptr};
  std::size_t part{0};         ///< index into the track's parts
  std::int64_t part_first{0};  ///< the part's first frame, counted over all parts
  std::int64_t first{0};       ///< in the file
  std::int64_t end{0};         ///< the frame after its last
  Span span;
  /// Whether sound and timeline go on from the piece before without a step.
  bool goes_on{false};

  const TrackPart& file() const { return track->parts[part]; }
  /// Timeline second of a place in the file, also beyond the piece.
  double line_s(double frame_in_file) const;
  /// The place in the file, in frames with a fraction, of a timeline second, also beyond the piece.
  double frame_in_file(double line_s) const;
};

/// In the order of the timeline; none where the track has no map.
std::vector<Piece> pieces_of(const LineupTrack& track);

}  // namespace kilter::edits
