// What check says of single sentences: those that slipped, and those that nothing confirms.
#pragma once

#include <vector>

#include "check_facts.h"
#include "kilter/report/check_report.h"
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
