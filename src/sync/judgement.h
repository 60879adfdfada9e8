// How sure a placing is, and what a person should know of it.
#pragma once

#include <optional>
#include <string>

#include "kilter/base/lineup.h"
#include "kilter/sync/align.h"
#include "kilter/sync/copies.h"
#include "kilter/sync/leaks.h"
#include "seams.h"
#include "track_state.h"

namespace kilter::sync {

/// What the judgement of one track needs to know of the session.
struct Evidence {
  const MixInput& mix;
  const std::vector<TrackInput>& tracks;
  const std::vector<TrackState>& states;
  const std::vector<Span>& mix_spans;
  const std::vector<Seam>& seams;
  const std::vector<Leak>& leaks;
};

/// 95 % bound of the placing at one place, in microseconds: what the fit leaves open there, widened
/// where few windows vouch for it, and what no number of windows averages away.
double uncertainty_us(const Evidence& evidence, std::size_t track, int level, double track_s);

/// Whether sound of the track that is heard `off_s` later in the mix than it should is another's,
/// or its own once more, that leaks into it.
bool is_leak(const std::vector<Leak>& leaks, std::size_t track, double off_s);

/// Why the evidence does not rule every other placing out, and how far off the track is if the
/// doubt is right.
struct Doubt {
  std::string reason;
  double off_s{0.0};
};

/// Why a track may stand elsewhere towards its beginning or its end: where it is first, or last,
/// heard it is so much later than its map says.
enum class Outermost { first, last };
Doubt doubt_of_outermost(double line_s, double late_s, Outermost where);

/// Why a copy of the mix may stand elsewhere: a step of everything may be the tracks' or the mix's.
std::optional<Doubt> doubt_of_mix(const std::vector<Seam>& seams);

/// Nothing where the evidence rules every other placing out. `uncertainty_us` is the track's worst.
std::optional<Doubt> doubt_of(const Evidence& evidence, std::size_t track, double uncertainty_us);

Finding thin_evidence(const std::string& reason);
/// `track_s` and `line_s` are the seam's place in the track and on the timeline.
Finding seam_finding(const Seam& seam, double track_s, double line_s);
Finding mix_seam_finding(const Seam& seam, double line_s);

Finding excursion_finding(std::vector<Stretch> stretches, double furthest_s);
Finding leak_finding(const Leak& leak, const std::string& from);
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
Finding mix_music_finding(std::vector<Stretch> stretches);

}  // namespace kilter::sync
