// Small text files, whole or not at all.
#pragma once

#include <filesystem>
#include <string>

#include "kilter/base/result.h"

namespace kilter::edits {

/// Through NAME.part, so that `file` is whole or as it was. Fails with cannot_write.
Result<void> write_text(const std::filesystem::path& file, const std::string& text);
/// Fails with unreadable.
Result<std::string> read_text(const std::filesystem::path& file);

}  // namespace kilter::edits
