// The least that work on sound files costs: every file decoded once through libsndfile, and encoded
// once more where something is written.
#pragma once

#include <filesystem>
#include <vector>

namespace kilter::bench {

using Files = std::vector<std::filesystem::path>;

/// Reads each file to its end, `threads` of them side by side. Throws std::runtime_error where one
/// cannot be read, or breaks off.
void decode_all(const Files& files, int threads);

/// Copies each into a folder that vanishes again, as 24-bit WAV; waits until the disk holds them
/// where `safely`. Throws std::runtime_error where that fails.
void copy_all(const Files& files, int threads, bool safely);

/// All files in `folder`, by name, folders below it left out.
Files files_in(const std::filesystem::path& folder);

/// Has the system forget what it holds of the files, as far as POSIX lets one ask. False where it
/// does not know how.
bool forget(const Files& files);

}  // namespace kilter::bench
