// What `kilter survey` tells.
#pragma once

#include <string>

#include "kilter/survey/survey.h"

namespace kilter::report {

/// A row per track, the mix first, then what a person should know, numbered.
std::string survey_text(const survey::Survey& survey);

/// The same as one JSON document. Levels of silence are null, since JSON has no infinity.
std::string survey_json(const survey::Survey& survey);

}  // namespace kilter::report
