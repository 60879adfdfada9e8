#pragma once

#include <string>

#include "kilter/media/broadcast_notes.h"

namespace kilter::media {

/// What a `bext` chunk of version 2 holds (EBU Tech 3285): loudness not stated, no UMID. Even.
std::string bext_content(const BroadcastNotes& notes);

}  // namespace kilter::media
