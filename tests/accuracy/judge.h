// What the estimator says of a session, against the truth.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "accuracy/session.h"

namespace kilter::accuracy {

/// A stated bound and the largest error that should lie under it, of a spliced stream what goes
/// beyond half a splice; below 0: nothing was measured.
struct Bound {
  double stated_us{0.0};
  double worst_us{-1.0};
  bool holds() const { return worst_us <= stated_us; }
};

struct TrackOutcome {
  std::string name;
  Standing standing{Standing::unplaced};
  bool foreign{false};
  bool placeable{true};  ///< it holds what places it
  std::vector<double>
      errors_us;  ///< along the track, away from its seams and from stretches between seams in
                  ///< which the mix holds less than 1.5 s of speech, where the map has a span
  Bound bound;    ///< of the track
  std::vector<Bound> spans;
  std::optional<double> drift_error_ppm;  ///< nothing without a map, or without the mix's clock
  double covered{0.0};                    ///< part of those places that a span covers
  bool placed() const { return standing != Standing::unplaced; }
  /// Stands as firm, and is more than a millisecond off somewhere (of a spliced stream: beyond half
  /// a splice), or belongs elsewhere.
  bool wrong_firm() const;
};

/// Seams count where the step is 20 ms or more and there is speech on both sides.
struct SeamTally {
  int due{0};
  int found{0};        ///< within 50 ms of the seam or of the pause that it lies in
  int false_ones{0};   ///< reported where no seam is
  int wrong_cause{0};  ///< found, and blamed on somebody else
  double worst_step_us{0.0};
  double worst_place_ms{0.0};        ///< beyond the seam and its pause, also of those further off
  std::vector<std::string> remarks;  ///< for people: what was missed, false or badly measured

  void add(const SeamTally& other);
};

/// Findings that should be there (inverted, wrong-rate, duplicate, mix-copy, leak, excursion),
/// per track.
struct CodeTally {
  int due{0};
  int found{0};
  int false_ones{0};
  std::vector<std::string> missed;  ///< for people: "name: code"
  std::vector<std::string> wrong;

  void add(const CodeTally& other);
};

/// Seconds of missing voices.
struct VoiceTally {
  double due_s{0.0};
  double found_s{0.0};
  double false_s{0.0};

  void add(const VoiceTally& other);
};

struct Outcome {
  std::vector<TrackOutcome> tracks;
  SeamTally seams;
  CodeTally codes;
  VoiceTally voices;
  double align_s{0.0};
  double track_hours{0.0};
};

Outcome judge(const Session& session, const sync::Alignment& alignment);

}  // namespace kilter::accuracy
