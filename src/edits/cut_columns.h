// The table in cuts.tsv, as its writer and its reader agree on it.
#pragma once

#include <array>
#include <cstddef>

namespace kilter::edits {

enum class CutColumn : std::size_t {
  track,
  file,
  channel,
  source_rate,
  source_first,
  source_last,
  timeline_first,
  timeline_last,
  start,
  timecode,
  speed,
  percent,
  polarity,
  standing,
  uncertainty_us,
  recorder,
  findings
};

inline constexpr std::array kCutColumns{
    "track",       "file",           "channel",       "source_rate", "source_first",
    "source_last", "timeline_first", "timeline_last", "start",       "timecode",
    "speed",       "percent",        "polarity",      "standing",    "uncertainty_us",
    "recorder",    "findings"};

inline constexpr const char* kTimelineComment = "# timeline: the clock of ";

}  // namespace kilter::edits
