#include "session_file.h"

#include <toml++/toml.h>

#include <algorithm>
#include <set>
#include <string_view>

namespace kilter::session {
namespace {

namespace fs = std::filesystem;

/// Thrown and caught in this file only: toml++ throws as well, and one way out is enough.
struct Wrong {
  std::string what;
};

[[noreturn]] void fail(const toml::node& node, const std::string& what) {
  throw Wrong{"line " + std::to_string(node.source().begin.line) + ": " + what};
}

std::string in_quotes(std::string_view key) { return '"' + std::string(key) + '"'; }

std::string text_of(const toml::node& node, std::string_view key) {
  const auto value = node.value_exact<std::string>();
  if (!value || value->empty()) fail(node, in_quotes(key) + " must be a text");
  return *value;
}

int channel_of(const toml::node& node) {
  const auto value = node.value_exact<std::int64_t>();
  if (!value || *value < 1 || *value > 64) fail(node, "\"channel\" must be a number from 1 to 64");
  return static_cast<int>(*value);
}

Role role_of(const toml::node& node) {
  const auto role = role_from_text(text_of(node, "role"));
  if (!role || *role == Role::mix)
    fail(node, "\"role\" must be room, remote or ignore; the mix has a key of its own");
  return *role;
}

std::string part_of(const toml::node& node) {
  const toml::array* parts = node.as_array();
  if (parts == nullptr || parts->size() != 1)
    fail(node, "\"parts\" must name one file; several parts are not supported yet");
  return text_of(*parts->get(0), "parts");
}

/// Index of a file that session.toml names.
std::size_t file_index(const std::string& name, const toml::node& node, Session& session) {
  // By path: "./keeper.wav" is "keeper.wav".
  const fs::path path = (session.folder / name).lexically_normal();
  const auto found = std::find_if(session.files.begin(), session.files.end(),
                                  [&](const SessionFile& file) { return file.path == path; });
  if (found != session.files.end()) return static_cast<std::size_t>(found - session.files.begin());
  std::error_code code;
  if (!fs::exists(path, code)) fail(node, "there is no file " + in_quotes(name));
  session.files.push_back({path, fs::path(name).lexically_normal().generic_string()});
  return session.files.size() - 1;
}

DeclaredTrack track_of(const toml::node& entry, Session& session) {
  const toml::table* table = entry.as_table();
  if (table == nullptr) fail(entry, "a [[track]] must be a table");
  DeclaredTrack track;
  bool has_part = false;
  for (const auto& [key, node] : *table) {
    if (key == "name") {
      track.name = text_of(node, key);
    } else if (key == "parts") {
      track.file = file_index(part_of(node), node, session);
      has_part = true;
    } else if (key == "channel") {
      track.channel = channel_of(node);
    } else if (key == "recorder") {
      track.recorder = text_of(node, key);
    } else if (key == "role") {
      track.role = role_of(node);
    } else {
      fail(node, in_quotes(key.str()) + " is not a key that we know in a [[track]]");
    }
  }
  if (!has_part) fail(entry, "a [[track]] needs \"parts\"");
  return track;
}

void read_tracks(const toml::node& node, Session& session) {
  const toml::array* tracks = node.as_array();
  if (tracks == nullptr) fail(node, "write [[track]], once for each track");
  std::set<std::pair<std::size_t, int>> seen;
  for (const toml::node& entry : *tracks) {
    const DeclaredTrack track = track_of(entry, session);
    if (!seen.emplace(track.file, track.channel).second)
      fail(entry, "this file and channel have a [[track]] already");
    session.declared.push_back(track);
  }
}

void read_table(const toml::table& table, Session& session) {
  for (const auto& [key, node] : table) {
    if (key == "title") {
      session.name = text_of(node, key);
    } else if (key == "mix") {
      session.mix = file_index(text_of(node, key), node, session);
    } else if (key == "track") {
      read_tracks(node, session);
    } else {
      fail(node, in_quotes(key.str()) + " is not a key that we know");
    }
  }
}

}  // namespace

Result<void> read_session_file(const fs::path& file, Session& session) {
  std::string wrong;
  try {
    read_table(toml::parse_file(file.string()), session);
    return {};
  } catch (const Wrong& error) {
    wrong = error.what;
  } catch (const toml::parse_error& error) {
    wrong = "line " + std::to_string(error.source().begin.line) + ": " +
            std::string(error.description());
  }
  return Error{ErrorKind::no_input, file, wrong, "mend it, or move it out of the folder"};
}

}  // namespace kilter::session
