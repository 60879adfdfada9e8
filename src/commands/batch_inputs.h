// What a session's result depends on, and how much there is to do.
#pragma once

#include <atomic>
#include <filesystem>
#include <vector>

#include "batch_record.h"
#include "kilter/base/result.h"
#include "kilter/session/session.h"
#include "options.h"

namespace kilter::commands {

/// The files of a session: its recordings, its session.toml, and what lies there and is told to be
/// left out. Without digests. Fails as opening the session does.
Result<std::vector<InputMark>> inputs_of_session(const std::filesystem::path& folder,
                                                 const std::optional<std::filesystem::path>& mix);
/// The files of a folder that conform wrote.
Result<std::vector<InputMark>> inputs_of_result(const std::filesystem::path& folder);

/// Reads the files. One that cannot be read keeps an empty digest, which equals no other. Fails
/// only with interrupted.
Result<void> add_digests(const std::filesystem::path& folder, std::vector<InputMark>& inputs,
                         const std::atomic<bool>& stop);

/// Whether the files are those of the marks: names and sizes equal, and where times differ, bytes.
/// Reads the files whose times differ.
Result<bool> are_unchanged(const std::filesystem::path& folder, const std::vector<InputMark>& known,
                           const std::vector<InputMark>& present, const std::atomic<bool>& stop);

/// What the headers say; 0 where nothing can be read.
struct SoundSize {
  double sound_s{0.0};        ///< of all channels, added up
  double stems_bytes{0.0};    ///< as WAV, were every channel a stem as long as the mix
  double scratch_bytes{0.0};  ///< for the copies that the analysis keeps
};
SoundSize sound_size(const std::filesystem::path& folder, const Options& options);

}  // namespace kilter::commands
