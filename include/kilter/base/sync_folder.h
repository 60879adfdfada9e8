#pragma once

#include <filesystem>

#include "kilter/base/result.h"

namespace kilter {

/// Waits until the disk holds what was made, renamed and removed in a folder, the current one where
/// it has no name. Fails (cannot_write) where the disk does; file systems that know no such thing,
/// and folders that may not be read, are passed over.
Result<void> sync_folder(const std::filesystem::path& folder);

}  // namespace kilter
