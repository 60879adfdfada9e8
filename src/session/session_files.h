// What the makers of a session share.
#pragma once

#include <cstddef>
#include <filesystem>
#include <set>

#include "kilter/session/session.h"

namespace kilter::session {

/// Whether a path, all links followed, lies outside a folder.
bool leads_out(const std::filesystem::path& path, const std::filesystem::path& folder);

/// Takes recordings out of a session, and moves the numbers of the others.
void remove_files(Session& session, const std::set<std::size_t>& gone);

}  // namespace kilter::session
