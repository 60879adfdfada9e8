// What a person is told of a track or of the mix.
#pragma once

#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/sync/copies.h"
#include "kilter/sync/leaks.h"
#include "mix_repeats.h"
#include "seams.h"

namespace kilter::sync {

inline constexpr double kLoose_s = 0.05;  ///< a seam is not placed where it may be so far off

/// "12.3 ms", "1.500 s"; without its sign.
std::string milliseconds(double s);

Finding thin_evidence(const std::string& reason);
/// `track_s` and `line_s` are the seam's place in the track and on the timeline.
Finding seam_finding(const Seam& seam, double track_s, double line_s);
Finding mix_seam_finding(const Seam& seam, double line_s);

Finding excursion_finding(std::vector<Stretch> stretches, double furthest_s);
Finding leak_finding(const Leak& leak, const std::string& from);
/// Without a mix, of a track that seems to have lost or repeated a stretch.
Finding step_without_mix_finding(double track_s);
/// Of one that is placed by what leaks into it. `sources` not empty: whom it holds.
Finding leak_without_mix_finding(const std::vector<std::string>& sources);
Finding duplicate_finding(const std::string& original, const CopyVerdict& copy);
Finding mix_copy_finding(const CopyVerdict& copy);
Finding wrong_rate_finding(double header_rate_hz, double ratio);
/// Whose recordings had not been started yet in how much of what nobody explains.
struct NotStarted {
  double seconds{0.0};
  std::vector<std::string> names;  ///< empty: all were
};
Finding missing_voice_finding(std::vector<Stretch> stretches, const NotStarted& not_started = {});
Finding mix_repeat_finding(MixRepeat repeat);
/// Of talk while no recorder ran.
Finding unrecorded_finding(std::vector<Stretch> stretches);
Finding mix_music_finding(std::vector<Stretch> stretches);

}  // namespace kilter::sync
