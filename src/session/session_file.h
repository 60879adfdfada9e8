// session.toml: what a person says of a session, where names and sound are not enough.
#pragma once

#include <filesystem>

#include "kilter/session/session.h"

namespace kilter::session {

/// Adds what `file` says to a session that holds the folder's audio files: `title`, `mix`, and
/// `[[track]]` with `name`, `parts` (one file), `channel`, `recorder` and `role`. Files that it
/// does not name stay in the session: `role = "ignore"` leaves one out.
/// Fails (no_input) with the line and the key that is wrong or not supported.
Result<void> read_session_file(const std::filesystem::path& file, Session& session);

}  // namespace kilter::session
