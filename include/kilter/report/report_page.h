// report.html: the page that conform writes beside its stems, for a person who was not there.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/conform/conform.h"
#include "kilter/edits/record_time.h"
#include "kilter/intake/level_meter.h"
#include "kilter/signal/envelope.h"

namespace kilter::report {

/// A stretch of a track that was measured against the mix.
struct MeasuredWindow {
  double at_s{0.0};       ///< its middle, in track time
  double offset_us{0.0};  ///< measured place less the map's
  double sigma_us{0.0};   ///< standard error, by its own evidence
  double weight{0.0};     ///< 0..1; 0: not used
};

/// What was heard of a track, or of the mix.
struct HeardTrack {
  std::optional<intake::Levels> levels;  ///< of the mix: its loudest channel's
  Envelope envelope;
  std::vector<MeasuredWindow> windows;
};

/// A stretch of the mix, and what all tracks together leave of it.
struct NullCell {
  enum class Kind {
    uncovered,  ///< no placed track lies here
    pause,      ///< too faint to tell
    told
  };
  Kind kind{Kind::uncovered};
  float mix_db{0.0F};   ///< level of the mix, up to a constant
  float rest_db{0.0F};  ///< the rest against the mix
};

/// The null: how far all tracks together explain the mix.
struct NullDepth {
  double cell_s{0.5};
  double typical_db{0.0};       ///< median of what is left where somebody is heard and explained
  std::vector<NullCell> cells;  ///< one after the other in the mix's own time; may be empty
};

/// What the analysis leaves behind beside its lineup.
struct Heard {
  HeardTrack mix;
  std::vector<HeardTrack> tracks;  ///< one per track of the lineup, in order
  NullDepth null;
  /// Whether tracks lie elsewhere now than where they were measured, so that `null` tells nothing
  /// of them.
  bool moved_since{false};
};

/// All that the page tells. Holds what it points at no longer than the call.
struct ReportPage {
  const Lineup* lineup{nullptr};
  const Heard* heard{nullptr};  ///< nothing where a lineup was given and no sound was analysed
  const conform::ConformReport* stems{nullptr};  ///< of `lineup`
  std::string sample_format;                     ///< of the stems: "24-bit"
  edits::RecordTime record;
  double limit_ms{1.0};
  std::string version;  ///< "kilter 1.2.0"
  std::string command;  ///< as it was typed, without --out and what else changes no result
};

/// One thing that a person must see to.
struct Need {
  std::vector<std::string> owners;  ///< tracks' names, or the mix's file; none: the session
  std::string title;                ///< what it is, in a few words
  std::string text;                 ///< what, where and what to do next
  int number{0};  ///< of the finding, as tables count them; 0: no finding tells it
  std::optional<Stretch> place;
};

/// Why conform exits with 1: what must be seen to, in the order of tracks, mix, session. Empty
/// where it exits with 0.
std::vector<Need> needs_of(const ReportPage& page);

/// The session in one sentence or two, for a producer.
std::string session_sentence(const ReportPage& page);

/// Whether the track's bound is wider than permitted, so that it may be further off.
bool is_beyond(const LineupTrack& track, double limit_ms);
/// Whether none of a placed track lies in the stems' time, so that its stem is silent.
bool lies_outside(const LineupTrack& track, const conform::ConformReport& stems);

/// One HTML document that needs nothing else, no network and no other file, but for the clips that
/// it plays from the folder listen/ beside it where there are any. Without script it shows all
/// figures and the whole session in drawings; with script those zoom. Names and texts may hold
/// anything. The same bytes for the same page. Size: 65 kB, 45 kB for each track of any length, 60
/// bytes for each window and each span of a map, and 3 bytes for each half second of the mix.
std::string report_html(const ReportPage& page);

}  // namespace kilter::report
