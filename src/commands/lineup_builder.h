// Between the survey and the estimator, and from its placings to the lineup.
#pragma once

#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/survey/survey.h"
#include "kilter/sync/align.h"

namespace kilter::commands {

/// What the estimator is given: silent, broken, copied and ignored tracks are left out. Points into
/// the survey, which must outlive it.
struct AlignInput {
  sync::MixInput mix;
  std::vector<sync::TrackInput> tracks;
  std::vector<std::size_t> survey_tracks;  ///< index into Survey::tracks for each of `tracks`
};

/// Fails (no_input) without a mix that sounds, or without a track beside it.
Result<AlignInput> align_input(const survey::Survey& survey);

/// The lineup of all tracks but ignored ones, in the survey's order. The alignment's tracks belong
/// to `input.tracks`. A copy is placed like what it copies; a silent or dead track like the tracks
/// of its file, of the recorder that session.toml names, or of a length equal to the frame, where
/// those agree.
Lineup build_lineup(const survey::Survey& survey, const AlignInput& input,
                    const sync::Alignment& alignment);

/// Whether a person has to look: a track not firm, or a finding that asks for it.
bool needs_person(const Lineup& lineup);

/// 0 is "A", 25 "Z", 26 "AA": names of recorders.
std::string letters(int number);

}  // namespace kilter::commands
