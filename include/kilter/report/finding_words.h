// The sentence of a finding as people read it.
#pragma once

#include <string>
#include <string_view>

#include "kilter/base/lineup.h"
#include "kilter/base/time_map.h"

namespace kilter::report {

/// Whose time a place is told in.
inline constexpr std::string_view kRecording = "recording";
inline constexpr std::string_view kMix = "mix";

/// The finding's text with its place on both clocks, where both are known and differ: "at
/// 00:01:10.200 of the recording, 00:01:15.000 of the timeline". Of a finding about the file alone
/// `map` (may be null) tells the latter. `whose`: what `at_s` counts in.
std::string text_with_clocks(const Finding& finding, const TimeMap* map,
                             std::string_view whose = kRecording);

/// The map by which a track's places are told; null where the sentences of its lineup keep to
/// another clock than its maps.
const TimeMap* map_for_words(const LineupTrack& track, const Lineup& lineup);

}  // namespace kilter::report
