#include "clips.h"

#include <algorithm>
#include <cmath>

#include "kilter/base/whole_frames.h"

namespace kilter::edits {
namespace {

struct Range {
  std::int64_t from, to;
};

/// Bounded so far beyond any day that steps of it still add up.
std::int64_t nearest(double units) { return std::llround(std::clamp(units, -0x1p50, 0x1p50)); }

/// A piece on the grid.
class PieceOnGrid {
 public:
  PieceOnGrid(const Piece& piece, const Grid& grid, const SourceFacts& facts)
      : piece_(piece), grid_(grid), time_reference_(static_cast<double>(facts.time_reference)) {}

  /// Record units from the one nearest to the piece's first frame to the one nearest to its end.
  Range record() const {
    const double end_s =
        std::min(piece_.line_s(static_cast<double>(piece_.end)), piece_.span.line_to_s);
    return {record_unit(piece_.line_s(static_cast<double>(piece_.first))), record_unit(end_s)};
  }
  /// Whole units that the file holds.
  Range file() const {
    return {std::max<std::int64_t>(first_frame_from(source_units(0.0)), 0),
            last_frame_to(source_units(static_cast<double>(piece_.file().frames)))};
  }
  /// Exactly what belongs at the start of a record unit, less that unit's own number.
  double offset(std::int64_t record) const {
    return source_units(piece_.frame_in_file(grid_.line_s(record))) - static_cast<double>(record);
  }

 private:
  std::int64_t record_unit(double line_s) const {
    return grid_.start + nearest(grid_.units(line_s - grid_.origin_s));
  }
  double source_units(double frame_in_file) const {
    return grid_.units((time_reference_ + frame_in_file) / piece_.track->rate_hz);
  }

  const Piece& piece_;
  const Grid& grid_;
  double time_reference_;
};

/// The exact offset, rounded to whole steps from `base`.
class Steps {
 public:
  Steps(const PieceOnGrid& piece, std::int64_t base, std::int64_t step)
      : piece_(piece), base_(base), step_(step) {}

  std::int64_t at(std::int64_t record) const {
    const double steps =
        (piece_.offset(record) - static_cast<double>(base_)) / static_cast<double>(step_);
    return base_ + step_ * nearest(steps);
  }
  /// Where the offset that holds at `from` ceases to, at `to` at the latest. It only rises or only
  /// falls inside a piece.
  std::int64_t end_of_run(std::int64_t from, std::int64_t to) const {
    const std::int64_t offset = at(from);
    std::int64_t same = from;
    std::int64_t other = to;
    while (other - same > 1) {
      const std::int64_t middle = same + (other - same) / 2;
      (at(middle) == offset ? same : other) = middle;
    }
    return other;
  }

 private:
  const PieceOnGrid& piece_;
  std::int64_t base_;
  std::int64_t step_;
};

/// Adds a clip, or lengthens the last one where both play on as one.
void add(TrackClips& track, const Clip& clip) {
  if (!track.clips.empty() && clip.piece.goes_on) {
    Clip& last = track.clips.back();
    const bool one = last.piece.part == clip.piece.part &&
                     last.record_from + last.length == clip.record_from &&
                     last.source_from + last.length == clip.source_from;
    if (one) {
      last.length += clip.length;
      return;
    }
  }
  track.clips.push_back(clip);
}

/// The part of a clip whose sound lies inside the file.
Clip within(Clip clip, const Range& file) {
  const std::int64_t late = std::max<std::int64_t>(file.from - clip.source_from, 0);
  clip.source_from += late;
  clip.record_from += late;
  clip.length = std::min(clip.length - late, file.to - clip.source_from);
  return clip;
}

class TrackCutter {
 public:
  TrackCutter(const Grid& grid, const SourceFactsOf& facts_of) : grid_(grid), facts_of_(facts_of) {}

  void cut(const Piece& piece) {
    if (std::abs(piece.span.rate() - 1.0) > kLargestSpeedChange) {
      track_.other_speed = true;
      return;
    }
    const PieceOnGrid on_grid(piece, grid_, facts_of_ ? facts_of_(piece.file()) : SourceFacts{});
    const Range all = on_grid.record();
    const Range record{std::max<std::int64_t>(all.from, 0), std::min(all.to, grid_.units_per_day)};
    if (record.from > all.from || record.to < all.to) track_.beyond_day = true;
    if (record.from < record.to) cut_runs(piece, on_grid, record);
  }

  TrackClips take() { return std::move(track_); }

 private:
  void cut_runs(const Piece& piece, const PieceOnGrid& on_grid, const Range& record) {
    // A step counts from where sound began: only drift is rounded to whole steps.
    if (!piece.goes_on || piece.part != part_) base_ = nearest(on_grid.offset(record.from));
    part_ = piece.part;
    const Steps steps(on_grid, base_, grid_.step);
    const Range file = on_grid.file();
    for (std::int64_t from = record.from; from < record.to;) {
      const std::int64_t to = steps.end_of_run(from, record.to);
      Clip clip = within({piece, from + steps.at(from), from, to - from}, file);
      clip.early_s = static_cast<double>(clip.source_from - clip.record_from) -
                     on_grid.offset(clip.record_from);
      clip.early_s *= static_cast<double>(grid_.denominator) / static_cast<double>(grid_.numerator);
      // Only the first clip of a piece begins where the piece does.
      clip.piece.goes_on = piece.goes_on || from > record.from;
      if (clip.length > 0) add(track_, clip);
      from = to;
    }
  }

  const Grid& grid_;
  const SourceFactsOf& facts_of_;
  TrackClips track_;
  std::int64_t base_{0};
  std::size_t part_{0};
};

}  // namespace

double Grid::units(double seconds) const {
  return seconds * static_cast<double>(numerator) / static_cast<double>(denominator);
}

double Grid::line_s(std::int64_t unit) const {
  return origin_s +
         static_cast<double>((unit - start) * denominator) / static_cast<double>(numerator);
}

TrackClips clips_of(const LineupTrack& track, const Grid& grid, const SourceFactsOf& facts_of) {
  TrackCutter cutter(grid, facts_of);
  for (const Piece& piece : pieces_of(track)) cutter.cut(piece);
  return cutter.take();
}

}  // namespace kilter::edits
