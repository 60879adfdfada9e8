// What check says of single sentences: those that slipped, and those that nothing confirms.
#pragma once

#include <optional>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/report/check_report.h"
#include "kilter/survey/survey.h"
#include "kilter/sync/phrases.h"
#include "kilter/sync/residuals.h"

namespace kilter::commands {

/// Phrases in a row that the mix has elsewhere.
struct Slip {
  double from_s{0.0};
  double to_s{0.0};
  double talk_s{0.0};  ///< in all
  double late_s{0.0};  ///< the furthest
  double sigma_s{0.0};
  bool by_the_room{false};  ///< later by what a way through the room takes
  bool beside_mute{false};  ///< another stem is digital silence meanwhile
  bool is_faint{false};     ///< against what the stem usually says
};

/// What is known of a stem beside its sound.
struct StemFacts {
  bool in_room{false};  ///< neighbours hear its person: no network stream holds him back
  /// Every other stem is there, and says what the mix bears out; else its person may be what this
  /// one hears across the room.
  bool others_sound{true};
  bool others_in_place{true};       ///< and nowhere stands off or says what the mix does not hold
  bool has_lineup{false};           ///< conform's lineup lies beside it; then:
  bool changed{false};              ///< its samples are not those that were written
  bool others_unchanged{false};     ///< but some other's are: it was not all exported again
  std::vector<Stretch> held_back;   ///< where the lineup says that a stream held its person back
  std::vector<Stretch> not_placed;  ///< where no recording lies by the lineup
};

/// What the lineup beside stems, where there is one, says of one of them.
StemFacts facts_of(const std::optional<Lineup>& left, const survey::Survey& survey,
                   const survey::SurveyTrack& track);
/// Whether the lineup leaves silence amid the stem: not a recorder's doing.
bool has_a_hole(const StemFacts& facts, double length_s);
/// Whether every stem that was written is among the files.
bool has_all_stems(const Lineup& left, const survey::Survey& survey);

/// Whether the mix has all that is said within the limit of its place.
bool is_in_place(const std::vector<sync::Phrase>& phrases, double limit_s);

/// Windows, with phrases where windows say nothing. One that is not clear counts only where the
/// track's own person talks in it and is not heard; one that is later by a way through the room,
/// only where its own person is as well.
std::vector<sync::ResidualWindow> with_phrases(const std::vector<sync::ResidualWindow>& windows,
                                               const std::vector<sync::Phrase>& phrases);

/// Those that are further off than permitted.
std::vector<Slip> slips_of(const std::vector<sync::Phrase>& phrases, double limit_s);

/// Adds what the phrases say to a stem that was judged by `residual`.
void judge_phrases(const sync::TrackPhrases& said, const sync::Residual& residual, double limit_s,
                   const StemFacts& facts, report::CheckedStem& stem);

}  // namespace kilter::commands
