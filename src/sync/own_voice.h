// Which tracks are placed by nothing that is theirs.
#pragma once

#include "aligning.h"

namespace kilter::sync {

/// Sets `louder_in` of each track that is alone on its recorder and of whose windows fewer than
/// two, and than half of them, hold a voice that is not 7 dB louder in another track. Who wears
/// headphones that are heard, or sits before a loudspeaker, and never speaks is placed by such
/// windows, late by an unknown time. A microphone that hears a whole room as loud as the others
/// hear it is none of these, nor is anybody who speaks twice. Fails where a signal cannot be read.
Result<void> find_borrowed_voices(Aligning& session);

}  // namespace kilter::sync
