// What check says of each stem: verdicts, their sentences, and the null.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "check_facts.h"
#include "kilter/base/time_map.h"
#include "kilter/report/check_report.h"
#include "kilter/survey/survey.h"
#include "kilter/sync/align.h"
#include "kilter/sync/phrases.h"
#include "kilter/sync/residuals.h"
#include "kilter/sync/strays.h"
#include "kilter/sync/unexplained.h"

namespace kilter::commands {

/// So many windows in a row in which a track sounds without the mix bearing it out: it may have
/// slipped out of reach.
inline constexpr int kUnheard = 2;

/// What is checked: where its sound lies on the mix's time, as somebody claims.
struct Claim {
  std::size_t track{0};  ///< index into Survey::tracks
  TimeMap map;
  bool inverted{false};
};

Finding check_finding(const char* code, std::string text, std::optional<double> line_s = {});

/// For a stem that nothing can be measured of, or too little.
Finding no_evidence(const sync::Residual& residual);

/// Verdict, figures and findings of one stem. `phrases`: for words alone.
void judge(const sync::Residual& residual, const std::vector<sync::Phrase>& phrases,
           const Claim& claim, double limit_s, const StemFacts& facts, report::CheckedStem& stem);

/// Words that the mix holds elsewhere, further off than windows see: several that agree are a
/// stretch out of place.
void judge_strays(const std::vector<sync::Stray>& strays, const StemFacts& facts,
                  report::CheckedStem& stem);

/// The places by the estimator, for tracks that are not where they are claimed to be: asked for no
/// other.
void find_elsewhere(const Claim& claim, const sync::TrackPlacing& placing, double limit_s,
                    const StemFacts& facts, report::CheckedStem& stem);

/// What is wrong with the file itself; digital silence is not where the lineup leaves a hole in it.
/// `whose`: what its places are told in.
void add_damage(const survey::SurveyTrack& track, bool has_a_hole, std::string_view whose,
                report::CheckedStem& stem);

/// Where --allow-silent would let the stem pass, it is named.
void name_the_option(report::CheckedStem& stem);

std::vector<report::CheckedMinute> by_minute(const std::vector<sync::ResidualWindow>& windows,
                                             const sync::Residual& residual, double length_s);

/// How far all stems together explain the mix, by the minute, and whom they do not. `not_recorded`:
/// stretches of the mix in which, as far as is known, no recording ran.
void add_null(const sync::Unexplained& unexplained, double length_s,
              const std::vector<Stretch>& not_recorded, report::CheckReport& report);

/// What is wrong with all stems alike, told once: then none of them is to blame. Whether anything.
bool tell_what_all_share(report::CheckReport& report);

}  // namespace kilter::commands
