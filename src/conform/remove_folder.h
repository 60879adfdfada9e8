#pragma once

#include <filesystem>
#include <system_error>

namespace kilter::conform {

/// Removes a folder with all it holds, links themselves and not what they lead to, as far as that
/// can be done. `last`, a name in it, goes when nothing else is left: a process killed amid this
/// leaves that to know the rest by. Opens one folder at a time: also where nearly no file handles
/// are left.
void remove_folder(const std::filesystem::path& folder, const std::filesystem::path& last = {});

/// Removes what a folder holds but for `kept`, a name in it. The first problem, if something stays.
std::error_code empty_folder(const std::filesystem::path& folder,
                             const std::filesystem::path& kept);

}  // namespace kilter::conform
