// What the figures of one channel tell a person.
#pragma once

#include <string>
#include <vector>

#include "kilter/survey/survey.h"

namespace kilter::survey {

/// Silent, dead, too quiet, clipped, with a constant offset.
std::vector<Finding> level_findings(const intake::Levels& levels, double length_s, SampleRate rate);
/// A file that ends before it should, from its header or from where decoding failed.
std::vector<Finding> length_findings(const intake::IntakeFile& file);
Finding unreadable_finding(const Error& error);

/// "check this, or that" as a sentence: "Check this, or that."
std::string as_sentence(std::string text);

}  // namespace kilter::survey
