// What a sound file tells about itself beside its sound, as broadcasters and editors expect it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "kilter/base/units.h"

namespace kilter::media {

/// Frames of picture a second, as an exact fraction: 25/1, 30000/1001.
struct TimecodeRate {
  std::int64_t numerator{25};
  std::int64_t denominator{1};
  bool drop_frame{false};
};

struct CueMarker {
  Frames at;  ///< from the file's first frame
  std::string text;
};

/// All texts are UTF-8 and may be empty. Where they go, a byte that is none becomes U+FFFD and a
/// control character (line ends too, but for the coding history's) a blank.
///
/// WAV and RF64 hold them as `bext` version 2 (EBU Tech 3285, no loudness stated), `iXML` and,
/// after the sound, `cue ` and `LIST`/`adtl`. `bext` is ASCII: there letters with accents lose
/// them, ligatures are spelt out, typographic quotes, dashes and blanks become plain ones, and what
/// remains becomes '?'. FLAC, which has no place for more, holds a title (the tracks' names), an
/// album (the project), a comment (the description), the date and the software (the originator)
/// as Vorbis comments: no time reference, no cues.
struct BroadcastNotes {
  std::string description;           ///< the first 256 ASCII characters are kept
  std::string originator;            ///< 32
  std::string originator_reference;  ///< 32
  std::string origination_date;      ///< "yyyy-mm-dd" or empty
  std::string origination_time;      ///< "hh:mm:ss" or empty
  Frames time_reference;             ///< from midnight to the first frame, at least 0
  std::string coding_history;        ///< lines, oldest step first (EBU R 98); ends become CR LF

  std::string project;
  std::optional<TimecodeRate> timecode_rate;
  std::vector<std::string> track_names;  ///< one per channel; missing ones stay unnamed
  std::string note;

  std::vector<CueMarker> cues;  ///< in any order
};

}  // namespace kilter::media
