// The lineup: where every track of a session belongs. The value that `align` makes and everything
// after it uses; `edits/lineup_file.h` writes and reads it as lineup.json.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "kilter/base/time_map.h"

namespace kilter {

enum class Role { room, remote, mix, ignore };
/// firm: the evidence rules every other placing out. shaky: a placing is offered and a person must
/// look. unplaced: none is offered.
enum class Standing { firm, shaky, unplaced };

const char* to_text(Role role);
const char* to_text(Standing standing);
std::optional<Role> role_from_text(const std::string& text);
std::optional<Standing> standing_from_text(const std::string& text);

struct Stretch {
  double line_from_s{0.0};
  double line_to_s{0.0};
};

/// Something a person should know. `text` says what, where (hh:mm:ss.mmm) and what to do next.
struct Finding {
  std::string code;  ///< one of the codes of the interface, for example "unmatched"
  std::string text;
  std::optional<double> at_s;        ///< track time
  std::optional<double> line_s;      ///< timeline time
  std::optional<double> step_s;      ///< for a seam
  std::optional<std::string> cause;  ///< track, recorder, stream or mix
  std::vector<Stretch> stretches;
  std::optional<double> rate_hz{};  ///< for a wrong rate: at which it was recorded
};

struct TrackPart {
  std::string file;        ///< relative to the session folder, or absolute
  int channel{1};          ///< from 1
  std::int64_t frames{0};  ///< at the track's rate
};

struct LineupTrack {
  std::string name;
  std::vector<TrackPart> parts;
  double rate_hz{0.0};
  Role role{Role::room};
  std::string recorder;  ///< tracks of one recorder share a clock: "A", "B", ...
  std::string voice{};   ///< tracks of one voice are takes of one person and share a stem; or empty
  Standing standing{Standing::unplaced};
  bool inverted{false};
  std::optional<TimeMap> map;  ///< nothing when unplaced
  double uncertainty_us{0.0};  ///< worst over the track
  int windows_measured{0};
  int windows_used{0};
  std::vector<Finding> findings;

  /// Whether its sound belongs on the timeline: in stems, in cuts and in whatever plays them.
  bool is_used() const { return map && role != Role::ignore && role != Role::mix; }

  /// At which it was recorded: the header's, but where that was found wrong ("wrong-rate") and the
  /// true one is a whole number of hertz.
  double recorded_rate_hz() const;

  std::int64_t frames() const {
    std::int64_t sum = 0;
    for (const TrackPart& part : parts) sum += part.frames;
    return sum;
  }
};

struct LineupMix {
  std::string file;
  double rate_hz{0.0};
  std::int64_t frames{0};
  std::vector<Span> spans;  ///< mix time to timeline; one span where the mix is whole
  std::vector<Finding> findings;
};

/// A stem as it was written: tells later whether a file is still that one.
struct StemMark {
  std::string file;         ///< in the stems' folder
  std::uint64_t digest{0};  ///< of its samples (see SampleDigest)
};

struct Lineup {
  std::string session;  ///< a name for people and for output files
  std::string timeline_clock{"mix"};
  double timeline_rate_hz{0.0};
  double from_s{0.0};  ///< range of the timeline
  double to_s{0.0};
  std::optional<LineupMix> mix;
  std::vector<LineupTrack> tracks;
  std::vector<Finding> findings;  ///< about the session
  std::vector<StemMark> stems{};  ///< that were made by it; none before
  /// Of the table of cuts as it was written with the stems (see text_hash); none before.
  std::optional<std::uint64_t> cuts_hash{};
};

}  // namespace kilter
