// The commands. Each reports its own errors and returns the exit code.
#pragma once

#include "console.h"
#include "kilter/base/lineup.h"
#include "load.h"
#include "options.h"

namespace kilter::commands {

Result<Exit> survey_command(const Options& options, Console& console);
Result<Exit> align_command(const Options& options, Console& console);
Result<Exit> conform_command(const Options& options, Console& console);

/// Decodes, measures and places: what align and conform share.
Result<Lineup> align_session(const Options& options, Console& console);

}  // namespace kilter::commands
