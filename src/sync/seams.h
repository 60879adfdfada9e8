// Seams: which steps of several tracks are one event, whose fault it is, and where it lies.
#pragma once

#include <string>
#include <vector>

#include "kilter/base/result.h"
#include "kilter/sync/align.h"
#include "kilter/sync/seam_place.h"
#include "track_state.h"

namespace kilter::sync {

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

/// Gathers the steps of all tracks into seams, in order of time. A step that all tracks show is the
/// mix's, one that all of a recorder show the recorder's; the rest are the track's own, or of the
/// network stream that carried a guest into the mix (`remote`, one per track).
std::vector<Seam> gather_seams(const std::vector<TrackState>& states,
                               const std::vector<bool>& remote);

/// Finds each seam's exact place, and what that says of its cause. Fails where a signal cannot be
/// read.
Result<void> place_seams(const MixInput& mix, const std::vector<TrackInput>& tracks,
                         const std::vector<TrackState>& states, int threads,
                         std::vector<Seam>& seams);

/// Places the seams anew once all clocks are better known, with the steps that they show by then,
/// and moves the tracks' cuts and the mix's spans there.
Result<void> place_seams_again(const MixInput& mix, const std::vector<TrackInput>& tracks,
                               int threads, std::vector<Span>& mix_spans, std::vector<Seam>& seams,
                               std::vector<TrackState>& states);

/// How much earlier a track's own time is at a seam than it would be had it lost nothing of its own
/// before, seconds of the timeline. `seam` is one of `seams`.
double own_loss_s(const std::vector<Seam>& seams, const Seam& seam, std::size_t track);

/// Where the track's part before the seam ends, and where the one after it begins, in its own time.
struct TrackCut {
  double end_s{0.0};
  double from_s{0.0};
};
TrackCut cut_of(const std::vector<Seam>& seams, const Seam& seam, std::size_t track, double rate);

/// Mix time to timeline: the mix's seams taken out.
std::vector<Span> mix_spans_of(const std::vector<Seam>& seams, double mix_length_s);

/// A second of the mix on the timeline. One that lies in no span, as where the mix repeats itself,
/// goes to the seam.
double to_timeline(const std::vector<Span>& mix_spans, double mix_s);

/// Whether the timeline has a place for a second of the mix: not where the mix repeats itself.
bool is_on_timeline(const std::vector<Span>& mix_spans, double mix_s);

/// Pieces and levels for all tracks of one recorder, from their own fits; curve and pieces of each
/// are on the timeline afterwards, the curve the same for all.
void cut_at_seams(const std::vector<Seam>& seams, const std::vector<std::size_t>& members,
                  const std::vector<Span>& mix_spans, std::vector<TrackState>& states);

}  // namespace kilter::sync
