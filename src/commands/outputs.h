// Where results may go.
#pragma once

#include <filesystem>
#include <optional>

#include "kilter/base/result.h"
#include "kilter/session/session.h"

namespace kilter::commands {

/// Why `output` may not be written, as far as that can be told before any work: it lies in the
/// session's folder (bad_command), or in no folder that we may write to (cannot_write).
std::optional<Error> output_refusal(const std::filesystem::path& output,
                                    const session::Session& session);

/// The same for a test report, which also takes the place of no file but an earlier one
/// (bad_command).
std::optional<Error> junit_refusal(const std::filesystem::path& junit,
                                   const session::Session& session);

/// The session's own lineup file in the current folder: NAME.lineup.json.
std::filesystem::path default_lineup_file(const session::Session& session);

}  // namespace kilter::commands
