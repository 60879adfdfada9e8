// Before a show: what is wrong with the inputs of a short test take, and how to mend it.
#pragma once

#include "console.h"
#include "kilter/base/result.h"
#include "kilter/survey/survey.h"
#include "options.h"

namespace kilter::commands {

/// Adds to every track what wants mending before the show, in words on patching, gain and routing,
/// in place of what would be said of it afterwards: an input that is dead, too low or clips, that
/// gets another's signal or the mixer's mix, or in which another is heard over a loudspeaker or a
/// loop. Tracks are compared with the mix, where there is one, and with the sum of those that ran
/// together. Needs a survey that keeps its signals.
Result<void> check_sound(survey::Survey& survey, const Options& options, Console& console);

/// Whether anything of that has to be mended.
bool wants_mending(const survey::Survey& survey);

/// Whether it tells of that.
bool wants_mending(const Finding& finding);

/// What the check comes to, in a sentence.
std::string sound_check_text(const survey::Survey& survey);

}  // namespace kilter::commands
