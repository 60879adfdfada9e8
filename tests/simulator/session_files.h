// A simulated session as files.
#pragma once

#include <filesystem>
#include <string>

#include "kilter/base/result.h"
#include "simulator.h"

namespace kilter::simulator {

struct FileOptions {
  bool flac{false};  ///< lossless recordings as FLAC in place of WAV
  int bits{24};      ///< of lossless recordings, 8 to 24; up to 16 are kept in 16-bit files
  std::string mix_name{"mixdown"};
};

/// File name of a track of this name and coding, as write_session gives it.
std::string file_name(const std::string& name, const Coding& coding, const FileOptions& options);

/// Writes every track and the mix into `folder` (made when missing), lossy ones as they were coded.
/// The same session gives the same bytes. Files of the same names are replaced.
/// Fails with cannot_write.
Result<void> write_session(const Session& session, const std::filesystem::path& folder,
                           const FileOptions& options);

/// Writes the truth as JSON: per track its file, rate, frames, start, mean drift, points of its map
/// every ten seconds, and who speaks when. Fails with cannot_write.
Result<void> write_truth(const Session& session, const std::filesystem::path& file,
                         const FileOptions& options);

}  // namespace kilter::simulator
