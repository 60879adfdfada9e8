#pragma once

#include "kilter/base/lineup.h"

namespace kilter::edits {

/// A small lineup in which every field of the format says something: a track of two parts with a
/// seam, an inverted one that starts before the mix, an unplaced one with a difficult name.
Lineup sample_lineup();

}  // namespace kilter::edits
