// Session folders with what goes wrong before any sound is heard: files that were cut, lost,
// locked, named oddly, and what people leave lying beside them.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace kilter::archive {

struct BrokenSession {
  std::string name;  ///< of its folder, below the archive: any bytes but a zero
  /// Makes it; `whole` is a folder with a session that nothing is wrong with: a mix, two
  /// microphones and a guest, all WAV. Throws where that fails.
  std::function<void(const std::filesystem::path& whole, const std::filesystem::path& folder)> make;
};

std::vector<BrokenSession> broken_sessions();

}  // namespace kilter::archive
