// A small strict reader of lists of the form of AES31-3, which knows nothing of what writes them.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/edits/record_time.h"

namespace kilter::edits {

/// Sections of records of words, as the form is: line breaks are blanks, a text in quotes is one
/// word, whose quotes are kept.
using Record = std::vector<std::string>;
using Sections = std::map<std::string, std::vector<Record>>;

/// Throws Refused, as all here do.
Sections read_decision_list(const std::string& text);
std::string value_of(const Sections& sections, const std::string& section, const std::string& key);

struct Count {
  std::int64_t samples_per_s{0}, frames_per_s{0};
};
Count count_of(const Sections& sections);

struct ReadCut {
  std::size_t file{0}, track{0};
  int channel{0};
  std::int64_t source_in{0}, record_in{0}, record_out{0};
};
std::vector<ReadCut> cuts_of(const Sections& sections);

/// Refuses cuts that do not lie within half a millisecond of where the maps have them, and sound of
/// a used track that is not listed once; `seed` chooses the places looked at. The record starts at
/// 01:00:00:00, clocks are off by less than 400 ppm.
void check_cut_places(const Sections& sections, const Lineup& lineup, const RecordTime& record,
                      std::uint64_t seed);

}  // namespace kilter::edits
