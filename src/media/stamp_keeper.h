// Where a stream's time stamps leap, and what keeps its sound in time.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

namespace kilter::media {

/// A decoded packet by its time stamp, in frames; without one where the file gives none.
struct Stamped {
  std::optional<std::int64_t> stamp;
  std::int64_t frames{0};
};

/// What to do before a piece is delivered.
struct StampAction {
  std::int64_t jump{0};       ///< not 0: the stamps leap here by so many frames
  std::int64_t put_in{0};     ///< frames of silence before the piece
  std::int64_t leave_out{0};  ///< frames at the piece's start
};

/// Counts frames and compares them with the stamps. A difference counts as a leap where all pieces
/// that are in sight share it, so that a late stamp or two change nothing, and what grows slowly, a
/// recorder's clock against the one that stamps, is followed. Pure; one per stream.
class StampKeeper {
 public:
  struct Tolerance {
    std::int64_t jump_frames;  ///< differences up to here are no leap
    double tick_frames;        ///< how finely stamps tell time
    std::int64_t
        most_overlap_frames;  ///< stamps that go back further start anew: nothing is left out
  };
  explicit StampKeeper(const Tolerance& tolerance) : tolerance_(tolerance) {}

  /// For the first of `ahead`, which are the next pieces in order. To be called once for each
  /// piece.
  StampAction next(std::span<const Stamped> ahead);

 private:
  /// By how much all of `ahead` are off, the least of it; 0 where they do not agree.
  std::int64_t common_jump(std::span<const Stamped> ahead) const;
  std::int64_t in_whole_pieces(std::int64_t jump, std::int64_t piece) const;

  Tolerance tolerance_;
  std::int64_t position_{0};         // frames delivered, silence included
  std::int64_t still_to_leave_{0};   // of an overlap longer than a piece
  std::optional<double> reference_;  // stamp minus position, where nothing leapt
};

}  // namespace kilter::media
