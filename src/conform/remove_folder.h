#pragma once

#include <filesystem>

namespace kilter::conform {

/// Removes a folder with all it holds, links themselves and not what they lead to, as far as that can
/// be done. Opens one folder at a time: also where nearly no file handles are left.
void remove_folder(const std::filesystem::path& folder);

}  // namespace kilter::conform
