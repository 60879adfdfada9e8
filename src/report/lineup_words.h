// How tables and the page put the figures of a track.
#pragma once

#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/conform/conform.h"

namespace kilter::report {

/// Drift of the recorder's clock: under a wrong header the map holds the header's error as well.
/// For a placed track.
double clock_drift_ppm(const LineupTrack& track);
/// The same of one linear stretch of it.
double clock_drift_ppm(const LineupTrack& track, const Span& span);

/// "used/of"; "-" for a copy of the mix, or of a measured track, which has no windows of its own.
std::string windows_text(const LineupTrack& track);
/// "firm"; "left out" where nobody waits for it.
std::string standing_text(const LineupTrack& track);
/// What a reader of its row must know first; the findings tell all. May be empty.
std::string row_word(const LineupTrack& track);

/// A person's tracks of this standing.
std::vector<const LineupTrack*> with_standing(const Lineup& lineup, Standing standing);

/// A person's firm tracks: those that lie by their sound, and those that somebody's cuts or
/// session.toml put elsewhere, whatever they say themselves.
struct FirmTracks {
  std::vector<const LineupTrack*> by_sound;
  std::vector<const LineupTrack*> as_told;
};
FirmTracks firm_tracks(const Lineup& lineup);

/// What the lists lack of stems that go on for so long behind midnight, and what to do about it.
std::string past_midnight_text(double past_s);
/// Why a track has no stem.
std::string why_missing(const conform::Stem& stem, const LineupTrack& track);

}  // namespace kilter::report
