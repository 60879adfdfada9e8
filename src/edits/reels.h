#pragma once

#include <map>
#include <set>
#include <string>

namespace kilter::edits {

/// Short names for files: at most eight of A-Z and 0-9, a letter first, each file its own, none
/// that an event list keeps for black, bars or sources without timecode.
class Reels {
 public:
  /// The same for the same file.
  const std::string& of(const std::string& file);

 private:
  std::map<std::string, std::string> by_file_;
  std::set<std::string> taken_;
};

}  // namespace kilter::edits
