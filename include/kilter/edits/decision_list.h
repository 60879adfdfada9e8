// Audio decision lists of the form of AES31-3: cuts at speed 1, to the sample.
#pragma once

#include <string>

#include "kilter/base/lineup.h"
#include "kilter/edits/event_list.h"
#include "kilter/edits/record_time.h"

namespace kilter::edits {

/// What a decision list says beside its cuts.
struct DecisionListHead {
  std::string folder;   ///< where the files lie that are named without one: absolute, with `/`
  std::string created;  ///< a date as yyyy-mm-ddThh:mm:ssZ
};

/// The original files. A clock's drift is followed in steps of a millisecond, so that sound lies
/// within half a millisecond of its place, and within half a sample where no clock drifts; what
/// differs more than clocks do is left out. Files are indexed even where nothing of them is placed.
///
/// Time counts in samples of the timeline where a list can name its rate (44100, 48000, 88200 or
/// 96000), else of 48000, and in whole frames of 24, 25 or 30 that are next to the record's rate.
/// Only what the form is known to hold is written: sequence, tracks, index and cuts; neither
/// fades nor gains nor polarity, which stands in an event's name.
std::string decision_list(const Lineup& lineup, const RecordTime& record,
                          const DecisionListHead& head);

/// The stems from their first frame on; "" where the form has no name for their rate.
std::string stem_decision_list(const Lineup& lineup, const StemSet& stems, const RecordTime& record,
                               const DecisionListHead& head);

}  // namespace kilter::edits
