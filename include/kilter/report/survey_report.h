// What `kilter survey` tells.
#pragma once

#include <string>

#include "kilter/report/text_table.h"
#include "kilter/survey/survey.h"

namespace kilter::report {

/// A row per track, the mix first, then what a person should know, numbered. The
/// table takes up to `columns` cells, sentences no more than they do in 80.
std::string survey_text(const survey::Survey& survey, int columns = kTerminalColumns);

/// The same as one JSON document. Levels of silence are null, since JSON has no infinity.
std::string survey_json(const survey::Survey& survey);

}  // namespace kilter::report
