#pragma once

#include <cstdint>
#include <filesystem>
#include <string>

#include "kilter/base/result.h"

namespace kilter {

/// More than any text that we write, but for records that grow with an archive.
inline constexpr std::int64_t kMostTextBytes = std::int64_t{1} << 26;

/// All bytes of a small ordinary file. Fails with unreadable: also where there is none, it is
/// larger, or it is a device or a pipe, which may have no end. Safe from any thread.
Result<std::string> whole_file(const std::filesystem::path& file,
                               std::int64_t most_bytes = kMostTextBytes);

}  // namespace kilter
