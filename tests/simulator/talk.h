// Who speaks when.
#pragma once

#include <cstdint>
#include <vector>

#include "simulator.h"

namespace kilter::simulator {

/// A conversation over `from_s`..`to_s`: turns of one to five sentences, pauses, some overlap, and
/// short interjections. `shares` is the part of the time that each person speaks.
/// Sorted by time; nobody overlaps with himself.
std::vector<Utterance> plan_talk(std::uint64_t seed, const std::vector<double>& shares,
                                 double from_s, double to_s);

/// A stretch of the timeline.
struct Running {
  double from_s{0.0};
  double to_s{0.0};
};

/// All that is said in a session: the conversation, words to order, silence under jingles, and
/// takes of one person sharing what he says. `recorded` is where each person's recorder runs.
std::vector<Utterance> session_talk(std::uint64_t seed, const SessionSpec& spec,
                                    const std::vector<Running>& recorded, Running all);

/// Number of a person's voice.
int voice_of(const std::vector<Person>& people, int person);

/// Everybody's share: as the spec says, the rest of 0.85 of the time evenly among the others.
std::vector<double> talk_shares(const std::vector<Person>& people);

}  // namespace kilter::simulator
