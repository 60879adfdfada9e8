// The commands. Each prints its results; its error is for the caller to report.
#pragma once

#include "console.h"
#include "kilter/base/lineup.h"
#include "kilter/report/report_page.h"
#include "load.h"
#include "options.h"

namespace kilter::commands {

Result<Exit> survey_command(const Options& options, Console& console);
Result<Exit> align_command(const Options& options, Console& console);
Result<Exit> conform_command(const Options& options, Console& console);
Result<Exit> check_command(const Options& options, Console& console);
Result<Exit> batch_command(const Options& options, Console& console);

/// A lineup and what was heard on the way to it.
struct Aligned {
  Lineup lineup;
  report::Heard heard;
};

/// Decodes, measures and places: what align and conform share. Without a mix the tracks are placed
/// against each other. Fails (no_input) where it is not clear which file is the mix, or nothing can
/// be placed.
Result<Aligned> align_session(const session::Session& session, const Options& options,
                              Console& console);

}  // namespace kilter::commands
