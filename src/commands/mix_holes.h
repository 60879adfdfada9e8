// Where the mix is digital silence while people talk.
#pragma once

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/survey/survey.h"

namespace kilter::commands {

/// What the survey says of zeros in the mix (`dropout`) rests on the mix alone. Here the recordings
/// say whether anybody talks there: zeros that break into the mix's loud sound, however long, or
/// that swallow talk whole, are told with who talks; a jingle's end and a gate's pauses no more.
/// Where no firm track of `lineup` covers them, or somebody has no track, the survey's word stays.
/// Reads the tracks' signals at the zeros alone. Fails where one cannot be read.
Result<void> judge_mix_holes(const survey::Survey& survey, Lineup& lineup);

}  // namespace kilter::commands
