// A seam: what one event did to the tracks that show it, whose fault it is, and where it lies.
#pragma once

#include <cstddef>
#include <vector>

#include "kilter/sync/seam_place.h"
#include "track_state.h"

namespace kilter::sync {

inline constexpr double kSameStep_s = 1.5e-3;     ///< steps that differ by less are one size
inline constexpr double kSeamSlack_s = 6.0;       ///< a window's length
inline constexpr double kLongestBuffer_s = 0.25;  ///< a stream's buffer changes by no more

enum class SeamCause { track, recorder, stream, mix };

struct Seam {
  SeamCause cause{SeamCause::track};
  std::vector<std::size_t> tracks;  ///< that show it
  std::vector<Step> shown;          ///< how each of them does
  std::vector<std::size_t> also;    ///< tracks that show it and another event at once
  std::vector<Step> also_shown;     ///< as one step
  int recorder{-1};                 ///< whose it is, unless it is the mix's
  int shown_by{-1};                 ///< the recorder of the first of `tracks`
  double mix_from_s{0.0};           ///< it lies between these
  double mix_to_s{0.0};
  double step_s{0.0};           ///< what follows is heard so much later in the mix
  double seen_s{0.0};           ///< the same with the mix's part in it
  bool in_both{false};          ///< it shares its gap between windows with one that more show
  double others_part_s{0.0};    ///< of what is seen, that other's: only the rest is the track's
  bool mix_or_recorder{false};  ///< no other recorder's track tells which of the two it is
  bool others_whole{false};     ///< though they run through most of where it may lie
  SeamCause unless_mix{SeamCause::track};  ///< whose it is then, if it is not the mix's
  bool unsure{false};  ///< whose it is rests on likelihood: no track that stays whole bears witness
  SeamPlace place;
  std::size_t placed_by{0};  ///< the track in whose time `place` is told
};

/// Whether the track is one of those that show the seam.
bool shows(const Seam& seam, std::size_t track);

/// Whether it is that track's own, or of the stream that carried it into the mix.
bool is_own(const Seam& seam, std::size_t track);

/// What a track has lost alone, less what it holds twice, seconds of the timeline.
double own_loss_s(const std::vector<Seam>& seams, std::size_t track);

/// The same before a seam, one of `seams`.
double own_loss_s(const std::vector<Seam>& seams, const Seam& seam, std::size_t track);

/// Where the track's part before the seam ends, and where the one after it begins, in its own time.
struct TrackCut {
  double end_s{0.0};
  double from_s{0.0};
};
TrackCut cut_of(const std::vector<Seam>& seams, const Seam& seam, std::size_t track, double rate);

}  // namespace kilter::sync
