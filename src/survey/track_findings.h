// What the figures of one channel tell a person.
#pragma once

#include <string>
#include <vector>

#include "kilter/survey/survey.h"

namespace kilter::survey {

/// Silent, dead, too quiet, clipped, with a constant offset.
std::vector<Finding> level_findings(const intake::Levels& levels, double length_s, SampleRate rate);
/// What holds for all channels of a file: ends before it should, stretches that are not there,
/// samples that are no numbers, sound that is not read.
std::vector<Finding> file_findings(const intake::IntakeFile& file);
/// A mix in which nothing is heard, so that nothing can be placed.
Finding silent_mix(double length_s);
/// A mix that is zero where it should be loud.
Finding zeros_in_mix(const intake::ZeroSum& zeros, SampleRate rate);
/// A mix whose channels cannot be added up, in so large a part of its sound.
Finding cancelling_channels(double share);
/// What of the mix's own start shifts the stems, which begin where its sound does.
std::vector<Finding> mix_start_findings(const media::AudioInfo& info);

Finding unreadable_finding(const Error& error);

/// "check this, or that" as a sentence: "Check this, or that."
std::string as_sentence(std::string text);

}  // namespace kilter::survey
