// Small text files, whole or not at all.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>

#include "kilter/base/result.h"
#include "kilter/base/whole_file.h"

namespace kilter::edits {

/// Through NAME.part, so that `file` is whole or as it was. Fails with cannot_write.
Result<void> write_text(const std::filesystem::path& file, const std::string& text);
/// Fails with unreadable: also where there are more than `most_bytes`.
Result<std::string> read_text(const std::filesystem::path& file,
                              std::int64_t most_bytes = kMostTextBytes);

}  // namespace kilter::edits
