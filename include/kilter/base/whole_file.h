#pragma once

#include <filesystem>
#include <string>

#include "kilter/base/result.h"

namespace kilter {

/// All bytes of a small ordinary file. Fails with unreadable: also where there is none, or it is a
/// device or a pipe, which may have no end. Safe from any thread.
Result<std::string> whole_file(const std::filesystem::path& file);

}  // namespace kilter
