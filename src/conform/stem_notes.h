// What a stem's file says of itself.
#pragma once

#include <string>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"
#include "kilter/conform/conform.h"
#include "kilter/media/broadcast_notes.h"
#include "stem.h"

namespace kilter::conform {

/// Origin, map in words, timecode and a cue at every place where sound is missing or was cut out.
/// The sources are opened for their formats and dates; one that is not there is passed over. Fails
/// (unreadable) where one cannot be read. The same notes for the same lineup, files and options.
Result<media::BroadcastNotes> notes_of(const StemPlan& stem, const Lineup& lineup,
                                       const std::filesystem::path& session_folder,
                                       const StemShape& shape, const ConformOptions& options);

}  // namespace kilter::conform
