#pragma once

#include <cstdint>

#include "kilter/base/lineup.h"

namespace kilter::edits {

/// A lineup by lot: several files to a track, seams of every kind, wandering clocks, rates of 44.1,
/// 48 and 96 kHz, starts before the timeline, names that try a reader's patience. Every file's name
/// holds letters and digits that are its own.
Lineup random_lineup(std::uint64_t seed);

}  // namespace kilter::edits
