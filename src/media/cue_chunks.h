#pragma once

#include <string>
#include <vector>

#include "kilter/media/broadcast_notes.h"

namespace kilter::media {

/// Those cues that a file of this length can hold, first to last: a place has 32 bits and lies from
/// the first frame to the file's end.
std::vector<CueMarker> cues_within(const std::vector<CueMarker>& cues, Frames length);

/// The chunks `cue ` and, for the cues that have a text, `LIST` of type `adtl`; empty without cues.
/// Every chunk in them is even: a text is ended by one NUL or two.
std::string cue_chunks(const std::vector<CueMarker>& cues);

}  // namespace kilter::media
