// session.toml: what a person says of a session.
#pragma once

#include <filesystem>

#include "kilter/base/result.h"
#include "kilter/session/session.h"

namespace kilter::session {

/// The folder that a session file says the recordings lie in; its own where it names none.
/// Fails with no_input: the line, and what is wrong with it.
Result<std::filesystem::path> folder_named_in(const std::filesystem::path& file);

/// Adds to `session`, whose files are those of the folder, what the session file says. Files that
/// it makes the later parts of a take are no recordings of their own any more. `may_lead_out`:
/// whether it may name files outside the folder. Fails with no_input: the line, the key, and what
/// was expected.
Result<void> read_session_file(const std::filesystem::path& file, bool may_lead_out,
                               Session& session);

}  // namespace kilter::session
