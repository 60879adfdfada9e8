// What of a track is heard elsewhere in the mix than its map says, or nowhere.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "evidence.h"
#include "kilter/sync/leaks.h"
#include "track_state.h"

namespace kilter::sync {

/// Whether sound of the track that is heard `off_s` later in the mix than it should is another's,
/// or its own once more, that leaks into it.
bool is_leak(const std::vector<Leak>& leaks, std::size_t track, double off_s);

int clear_windows_on_line(const TrackState& state);

/// Track seconds before the first clear window on the line.
double unheard_start_s(const TrackState& state);

/// Track seconds after the last clear window on the line.
double unheard_end_s(const TrackState& state);

/// A part of the track that is heard elsewhere than the rest.
struct Elsewhere {
  double track_s{0.0};
  double off_s{0.0};
};

/// Clear windows off the line: the first, where they are too many for chance.
std::optional<Elsewhere> first_stray_window(const Evidence& evidence, std::size_t track);

/// The first that a scout found.
std::optional<Elsewhere> first_stray(const TrackState& state);

/// Chunks that the first map heard far from the line, where neither a seam nor a loudspeaker
/// explains them.
std::optional<Elsewhere> first_stray_vote(const Evidence& evidence, std::size_t track);

/// Another recorder's track that is heard elsewhere on one side of all that is in place of it: the
/// mix may have moved in between.
struct UnseenStep {
  std::size_t other{0};
  double mix_s{0.0};  ///< near which it would lie
  double off_s{0.0};
};

/// A step that the mix may have taken on a side on which no window of this track is heard, though
/// its recording runs there.
std::optional<UnseenStep> step_unseen_by(const Evidence& evidence, std::size_t track);

}  // namespace kilter::sync
