// Which file of a session is the mix.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "console.h"
#include "kilter/base/lineup.h"
#include "kilter/intake/intake.h"
#include "kilter/session/session.h"
#include "kilter/survey/survey.h"
#include "kilter/sync/align.h"
#include "lineup_builder.h"

namespace kilter::commands {

struct MixPick {
  std::optional<std::size_t> file;  ///< index into the session's files
  std::string found_by;             ///< "by its name", "by its sound: all 5 others are in it"
  std::optional<Finding> finding;   ///< why there is none, or that there are others
  bool named_only{false};           ///< a name was believed before any sound was heard
};

/// What was told, or one file whose name is plain. Nothing where the sound has to say.
std::optional<MixPick> mix_by_name(const session::Session& session);

/// By sound, with names as a tie-break. Needs the signals of `taken`.
Result<MixPick> mix_by_sound(const session::Session& session,
                             const std::vector<Result<intake::IntakeFile>>& taken, int threads,
                             Console& console);

/// Where a mix that is only named so left tracks without a place: whether another file would
/// explain them. A finding that says which, or nothing. Cost: a first map for every pair of tracks,
/// in such sessions alone.
Result<std::optional<Finding>> doubt_of_named_mix(const survey::Survey& survey,
                                                  const AlignInput& input,
                                                  const sync::Alignment& alignment,
                                                  const sync::AlignOptions& options);

}  // namespace kilter::commands
