// The page that `kilter survey --html` writes: what arrived, before anything is aligned.
#pragma once

#include <functional>
#include <string>

#include "kilter/survey/survey.h"

namespace kilter::report {

/// All that the page tells. Holds what it points at no longer than the call.
struct SurveyPage {
  const survey::Survey* survey{nullptr};
  /// Whether a finding must be seen to; empty: as survey::needs_person() has it.
  std::function<bool(const Finding&)> must_be_seen_to;
  std::string version;  ///< "kilter 1.2.0"
  std::string command;  ///< as it was typed, without --html and what else changes no result
};

/// The survey in one sentence or two.
std::string survey_sentence(const SurveyPage& page);

/// One HTML document that needs nothing else, as report_html() makes it: what needs a person, every
/// recording from its own beginning, files, levels and findings. The same bytes for the same
/// survey.
std::string survey_html(const SurveyPage& page);

}  // namespace kilter::report
