// Edit decision lists of the form of SMPTE 258M: cuts at speed 1, to the frame of picture.
#pragma once

#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/edits/record_time.h"

namespace kilter::edits {

/// A stem as lists name it.
struct StemFile {
  std::string track;
  std::string file;  ///< its name, without folders
};

/// What all stems have in common, and which there are.
struct StemSet {
  std::vector<StemFile> stems;
  double rate_hz{0.0};
  std::int64_t frames{0};
};

/// All lists are 7-bit text with CR LF. More events than one list numbers (999) go on in a further
/// list, so each function gives one or more texts. Sound lies within half a frame of its place: a
/// drifting clock is cut wherever it has gained or lost a frame. What no such list can say (exact
/// samples, speed, polarity, bounds) stands in comments below each event, and what is left out
/// below the first.

/// The original files of all tracks that are used: audio 1, 2, 3 and so on as A, A2, A3, in the
/// order of the lineup. The picture of the first file that has one is V.
std::vector<std::string> event_lists(const Lineup& lineup, const RecordTime& record,
                                     const SourceFactsOf& facts_of = {});
/// Those of one track, as A. `track` is one of the lineup's, and the reels are the same as in
/// event_lists().
std::vector<std::string> track_event_lists(const Lineup& lineup, const LineupTrack& track,
                                           const RecordTime& record,
                                           const SourceFactsOf& facts_of = {});
/// The stems from their first frame on, which is the record's start.
std::vector<std::string> stem_event_lists(const Lineup& lineup, const StemSet& stems,
                                          const RecordTime& record);

}  // namespace kilter::edits
