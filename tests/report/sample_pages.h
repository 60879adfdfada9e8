// Sessions made by rule, for the page: no sound, but all that would be heard of it.
#pragma once

#include <memory>
#include <string>

#include "kilter/report/report_page.h"
#include "kilter/survey/survey.h"

namespace kilter::test {

/// A page with what it points at.
struct SamplePage {
  Lineup lineup;
  report::Heard heard;
  conform::ConformReport stems;
  report::ReportPage page;
};

/// `tracks` people, all firm, on clocks that wander, for so long.
std::unique_ptr<SamplePage> calm_page(int tracks, double length_s);

/// Six people, and every kind of finding there is, with seams, takes and stretches.
std::unique_ptr<SamplePage> troubled_page();

/// The same with names and texts that try to be markup, script, data or a line's end.
std::unique_ptr<SamplePage> hostile_page();

/// What arrived: a mix, a recorder's file of two channels, files in trouble, one with such a name.
survey::Survey sample_survey();

/// Names that hostile_page() uses.
extern const char* const kHostileNames[8];

}  // namespace kilter::test
