// Between the survey and the estimator, and from its placings to the lineup.
#pragma once

#include <string_view>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/survey/survey.h"
#include "kilter/sync/align.h"
#include "kilter/sync/no_mix.h"

namespace kilter::commands {

/// What the estimator is given: silent, broken, copied and ignored tracks are left out. Points into
/// the survey, which must outlive it.
struct AlignInput {
  sync::MixInput mix;  ///< without a signal where the session has no mix
  std::vector<sync::TrackInput> tracks;
  std::vector<std::size_t> survey_tracks;  ///< index into Survey::tracks for each of `tracks`
};

/// Adds every track of the survey that is a signal of its own: no copy, no mix, none to ignore.
void add_measured_tracks(const survey::Survey& survey, AlignInput& input);

/// Whether nothing calls or shows itself the mix: tracks are then placed against each other. Not
/// where several could be it, which a person has to settle.
bool has_no_mix(const survey::Survey& survey);

/// Fails (no_input) where several files could be the mix, where it does not sound, or without a
/// track beside it; without a mix, where fewer than two tracks sound.
Result<AlignInput> align_input(const survey::Survey& survey);

/// The lineup of all tracks but ignored ones, in the survey's order. The alignment's tracks belong
/// to `input.tracks`. A copy is placed like what it copies; a silent or dead track like the tracks
/// of its file, of the recorder that session.toml names, or of a length equal to the frame, where
/// those agree.
Lineup build_lineup(const survey::Survey& survey, const AlignInput& input,
                    const sync::Alignment& alignment);

/// The same without a mix, on the clock of one of the tracks and over the range of all. Tracks of
/// one file, which start and run together, share the best known line among them. Fails (no_input)
/// where no two tracks share any sound.
Result<Lineup> build_lineup(const survey::Survey& survey, const AlignInput& input,
                            const sync::NoMixPlacing& placing);

/// Whether there is a finding of this code.
bool holds(const std::vector<Finding>& findings, std::string_view code);

/// Whether a person has to look: a track not firm, or a finding that asks for it.
bool needs_person(const Lineup& lineup);

/// 0 is "A", 25 "Z", 26 "AA": names of recorders.
std::string letters(int number);

}  // namespace kilter::commands
