// A session.toml to begin with, for a person to edit.
#pragma once

#include <string>
#include <vector>

namespace kilter::session {

struct DraftTrack {
  std::string name;
  std::vector<std::string> parts;  ///< at least one
  int channel{0};                  ///< from 1; 0: the file has only one
  std::string remark;              ///< one line on what it holds; may be empty
};

struct Draft {
  std::string title;
  std::string folder;  ///< empty: the session file will lie beside the recordings
  std::string mix;     ///< empty: not known
  std::vector<DraftTrack> tracks;
};

/// Text that open_session() reads, with a comment for each thing that can be said. Names that are
/// not UTF-8, which TOML cannot hold, stand in a comment.
std::string session_text(const Draft& draft);

}  // namespace kilter::session
