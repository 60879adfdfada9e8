// A small strict reader of lists of the form of SMPTE 258M, which knows nothing of what writes
// them.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/edits/record_time.h"

namespace kilter::edits {

struct ReadEvent {
  int number{0};
  std::string reel, channels, source_file;
  std::int64_t source_in{0}, source_out{0}, record_in{0}, record_out{0};
};

/// `nominal` frames to a second of labels. Throws Refused.
std::vector<ReadEvent> read_event_list(const std::string& text, int nominal, bool drop);
/// Events of the lists of a session, one after the other. Throws Refused.
std::vector<ReadEvent> read_event_lists(const std::vector<std::string>& lists, int nominal,
                                        bool drop);

/// Throws Refused where two events of a channel lie over each other.
void check_no_overlap(const std::vector<ReadEvent>& events);

std::vector<const LineupTrack*> used_tracks(const Lineup& lineup);

/// Throws Refused where an event does not lie within half a frame of where the maps have it, or
/// sound of a used track is not listed once; `seed` chooses the places looked at. Every file's name
/// holds letters and digits that are its own, clocks are off by less than 400 ppm, and all lies
/// within the record's day. No file carries timecode.
void check_event_places(const std::vector<ReadEvent>& events, const Lineup& lineup,
                        const RecordTime& record, std::uint64_t seed);

}  // namespace kilter::edits
