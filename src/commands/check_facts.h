// What is known of a stem beside its sound: what the lineup beside it says, and whether it is as it
// was written.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/survey/survey.h"

namespace kilter::commands {

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
  std::vector<double> cuts_s;       ///< where the lineup cuts it, on the stems' time
};

/// What the lineup beside stems, where there is one, says of one of them.
StemFacts facts_of(const std::optional<Lineup>& left, const survey::Survey& survey,
                   const survey::SurveyTrack& track);
/// Whether the lineup leaves silence amid the stem: not a recorder's doing.
bool has_a_hole(const StemFacts& facts, double length_s);
/// Whose doing it is that the mix departs from it there and comes back, as the end of a sentence
/// and what follows.
std::string departure_text(const StemFacts& facts, double from_s, double to_s);
/// Whether a stretch lies within so much of any of those.
bool any_within(const std::vector<Stretch>& stretches, double from_s, double to_s, double around_s);
/// What to do about a stretch of it that stands off, as a sentence that begins with a blank.
/// `otherwise`: what may be done to the file instead of conforming again, "move that stretch". As
/// long as the stem is as it was written, that would write the same once more: then its cuts are
/// to be mended, by name the one that is nearest to the stretch.
std::string mend_text(const StemFacts& facts, std::string_view otherwise, double from_s,
                      double to_s);

/// Whether every stem that was written is among the files.
bool has_all_stems(const Lineup& left, const survey::Survey& survey);

}  // namespace kilter::commands
