// Files of one recorder of which one lacks its end or its beginning.
#pragma once

#include "kilter/base/lineup.h"

namespace kilter::commands {

/// A recorder begins and ends all its files together. Of a firm track that ends ten seconds or more
/// before all its recorder's others, which it began with (`ends-early`), or begins that much later
/// than a recorder's, on whose clock it ends with them (`starts-late`), the rest is missing: told
/// with its times. Not where the track was told to break off, or where another file takes over.
void tell_missing_ends(Lineup& lineup);

}  // namespace kilter::commands
