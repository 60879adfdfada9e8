// From a session's files to its survey: decoded, the mix known.
#pragma once

#include "console.h"
#include "kilter/session/session.h"
#include "kilter/survey/survey.h"
#include "options.h"

namespace kilter::commands {

/// The session that the command line names, the files of a split take joined.
/// Fails as session::open_session().
Result<session::Session> open(const Options& options);

/// Decodes the session and finds its mix, keeping 16 kHz signals when `for_alignment`. Broken files
/// are told of and kept as rows; when the mix is not clear, the survey has none and a finding why.
/// Fails when no file can be read, the copies cannot be kept, or the user stops.
Result<survey::Survey> load(const session::Session& session, const Options& options,
                            bool for_alignment, Console& console);

}  // namespace kilter::commands
