// What others say of a track's start: a person in session.toml, a recorder in its time stamp.
#pragma once

#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/survey/survey.h"

namespace kilter::commands {

/// Follows what session.toml says of a track's start. An order overrules the sound, which still
/// tells the drift; a hint counts where the sound tells nothing. Either is told in a finding, code
/// `told-start`, where it changes or contradicts what the sound says.
void follow_told_start(const survey::SurveyTrack& told, double length_s, LineupTrack& track);

/// Tells of tracks whose time stamps contradict the sound: stamps never move a track. `tracks`:
/// placed, in the order of survey.tracks. Code `start-stamp`.
void compare_stamps(const survey::Survey& survey, std::vector<LineupTrack>& tracks);

}  // namespace kilter::commands
