#include "session_file.h"

#include <toml++/toml.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <optional>
#include <set>
#include <string_view>

#include "kilter/base/whole_file.h"
#include "kilter/session/names.h"
#include "nested_keys.h"
#include "session_files.h"

namespace kilter::session {
namespace {

namespace fs = std::filesystem;

constexpr std::array<std::string_view, 4> kKeys{"title", "mix", "folder", "track"};
constexpr std::array<std::string_view, 7> kTrackKeys{"name", "parts",   "channel", "recorder",
                                                     "role", "start_s", "pinned"};
// Nobody starts a recorder days before a talk.
constexpr double kFarthestStart_s = 2.0 * 86400.0;
// Ten thousand parts and all microphones of a stadium take less; each byte may cost a hundred.
constexpr std::int64_t kMostBytes = 1 << 20;

/// Thrown and caught in this file only: toml++ throws as well, and one way out is enough.
struct Wrong {
  std::string what;
};

[[noreturn]] void fail(const toml::node& node, const std::string& what) {
  throw Wrong{"line " + std::to_string(node.source().begin.line) + ": " + what};
}

std::string in_quotes(std::string_view key) { return '"' + std::string(key) + '"'; }

template <std::size_t N>
[[noreturn]] void fail_unknown(const toml::node& node, std::string_view key,
                               const std::array<std::string_view, N>& known) {
  std::string what = in_quotes(key) + " is not a key that we know";
  if (const auto nearest = nearest_name(key, known))
    what += "; did you mean " + in_quotes(*nearest) + '?';
  fail(node, what);
}

std::string text_of(const toml::node& node, std::string_view key) {
  const auto value = node.value_exact<std::string>();
  if (!value) fail(node, in_quotes(key) + " must be a text");
  if (value->empty()) fail(node, in_quotes(key) + " must not be empty");
  // The system would take it for the end of a name.
  if (value->find('\0') != std::string::npos) fail(node, in_quotes(key) + " holds a zero byte");
  return *value;
}

int channel_of(const toml::node& node) {
  const auto value = node.value_exact<std::int64_t>();
  if (!value || *value < 1 || *value > 64) fail(node, "\"channel\" must be a number from 1 to 64");
  return static_cast<int>(*value);
}

Role role_of(const toml::node& node) {
  const auto role = role_from_text(text_of(node, "role"));
  if (!role) fail(node, "\"role\" must be room, remote, mix or ignore");
  return *role;
}

double start_of(const toml::node& node) {
  const auto value = node.value<double>();
  if (!value || !node.is_number() || !(std::fabs(*value) <= kFarthestStart_s))
    fail(node, "\"start_s\" must be a number of seconds, as in 12.5, and within two days");
  return *value;
}

bool pinned_of(const toml::node& node) {
  const auto value = node.value_exact<bool>();
  if (!value) fail(node, "\"pinned\" must be true or false");
  return *value;
}

/// Makes tracks of the entries, and files of what they name.
class Reader {
 public:
  Reader(bool may_lead_out, Session& session) : may_lead_out_(may_lead_out), session_(session) {}

  void read(const toml::table& table) {
    for (const auto& [key, node] : table) {
      if (key == "title") {
        session_.name = text_of(node, key);
      } else if (key == "mix") {
        session_.mix = file_index(text_of(node, key), node);
      } else if (key == "track") {
        read_tracks(node);
      } else if (key == "folder") {
        stay_in(text_of(node, key), node);
      } else {
        fail_unknown(node, key, kKeys);
      }
    }
    if (session_.mix && later_parts_.contains(*session_.mix))
      fail(table, in_quotes(session_.files[*session_.mix].name) +
                      " is the mix and a later part of a [[track]]");
    remove_later_parts();
  }

 private:
  /// Index of a file that session.toml names.
  std::size_t file_index(const std::string& name, const toml::node& node) {
    // By path: "./keeper.wav" is "keeper.wav".
    const fs::path path = (session_.folder / name).lexically_normal();
    const auto found = std::find_if(session_.files.begin(), session_.files.end(),
                                    [&](const SessionFile& file) { return file.path == path; });
    if (found != session_.files.end())
      return static_cast<std::size_t>(found - session_.files.begin());
    std::error_code code;
    if (!fs::exists(path, code)) fail(node, "there is no file " + in_quotes(name));
    if (!may_lead_out_ && leads_out(path, session_.folder))
      fail(node, in_quotes(name) + " lies outside the session's folder: copy it there, or give " +
                     "this session.toml itself in place of its folder");
    session_.files.push_back({path, fs::path(name).lexically_normal().generic_string()});
    return session_.files.size() - 1;
  }

  /// The first of a take's files; the others are noted as its later parts.
  std::size_t take_of(const toml::node& node) {
    const toml::array* parts = node.as_array();
    if (parts == nullptr || parts->empty())
      fail(node, "\"parts\" must be a list of files, as in [\"rec_0001.wav\", \"rec_0002.wav\"]");
    std::vector<std::size_t> files;
    for (const toml::node& part : *parts) {
      files.push_back(file_index(text_of(part, "parts"), part));
      if (std::count(files.begin(), files.end(), files.back()) > 1)
        fail(part, "\"parts\" names a file twice");
    }
    const auto [known, is_new] = takes_.emplace(files.front(), files);
    if (!is_new && known->second != files)
      fail(node, "\"parts\" of another [[track]] begin alike and go on otherwise");
    if (is_new)
      for (std::size_t i = 1; i < files.size(); ++i)
        if (!later_parts_.insert(files[i]).second)
          fail(node, "\"parts\" names a file that is part of another take");
    return files.front();
  }

  DeclaredTrack track_of(const toml::node& entry) {
    const toml::table* table = entry.as_table();
    if (table == nullptr) fail(entry, "a [[track]] must be a table");
    DeclaredTrack track;
    bool has_part = false;
    const toml::node* pinned = nullptr;
    for (const auto& [key, node] : *table) {
      if (key == "name") {
        track.name = text_of(node, key);
      } else if (key == "parts") {
        track.file = take_of(node);
        has_part = true;
      } else if (key == "channel") {
        track.channel = channel_of(node);
        track.line = static_cast<int>(node.source().begin.line);
      } else if (key == "recorder") {
        track.recorder = text_of(node, key);
      } else if (key == "role") {
        track.role = role_of(node);
      } else if (key == "start_s") {
        track.start_s = start_of(node);
      } else if (key == "pinned") {
        track.pinned = pinned_of(node);
        pinned = &node;
      } else {
        fail_unknown(node, key, kTrackKeys);
      }
    }
    if (!has_part) fail(entry, "a [[track]] needs \"parts\"");
    if (track.pinned && !track.start_s)
      fail(*pinned, "\"pinned\" needs \"start_s\", the time to hold the track at");
    return track;
  }

  void read_tracks(const toml::node& node) {
    const toml::array* tracks = node.as_array();
    if (tracks == nullptr) fail(node, "write [[track]], once for each track");
    std::set<std::pair<std::size_t, int>> seen;
    std::set<std::string> names;
    for (const toml::node& entry : *tracks) {
      const DeclaredTrack track = track_of(entry);
      if (!seen.emplace(track.file, track.channel).second)
        fail(entry, "this file and channel have a [[track]] already");
      if (!track.name.empty() && !names.insert(lower(track.name)).second)
        fail(entry, "another [[track]] has the name " + in_quotes(track.name) + " already");
      session_.declared.push_back(track);
      choose_mix_by_role(track, entry);  // the key "mix" has been read: keys come in their order
    }
    for (const DeclaredTrack& track : session_.declared)
      if (later_parts_.contains(track.file))
        fail(node, in_quotes(session_.files[track.file].name) +
                       " has a [[track]] and is a later part of another one");
  }

  /// A folder that is given says where the recordings lie, whatever the session.toml in it says.
  void stay_in(const std::string& folder, const toml::node& node) const {
    std::error_code code;
    const fs::path named = fs::weakly_canonical(session_.folder / folder, code);
    if (!may_lead_out_ && named != fs::weakly_canonical(session_.folder, code))
      fail(node, "\"folder\" leads to " + in_quotes(folder) +
                     ": give this session.toml itself in place of its folder");
  }

  /// A whole file with the role of the mix is the mix, where no key says otherwise.
  void choose_mix_by_role(const DeclaredTrack& track, const toml::node& entry) {
    if (track.role != Role::mix || track.channel != 0) return;
    if (mix_by_role_)
      fail(entry, in_quotes(session_.files[*session_.mix].name) +
                      " has the role mix already: say which is the mix with mix = \"FILE\"");
    if (session_.mix) return;
    session_.mix = track.file;
    mix_by_role_ = true;
  }

  void remove_later_parts() {
    for (const auto& [first, files] : takes_)
      for (std::size_t i = 1; i < files.size(); ++i) {
        const SessionFile& part = session_.files[files[i]];
        session_.files[first].later_parts.push_back({part.path, part.name});
      }
    remove_files(session_, later_parts_);
  }

  bool may_lead_out_;
  Session& session_;
  bool mix_by_role_{false};
  std::map<std::size_t, std::vector<std::size_t>> takes_;  // all files of a take, by its first
  std::set<std::size_t> later_parts_;
};

/// Runs `read` over the file's table; what it throws becomes an error.
template <typename Read>
Result<void> with_table(const fs::path& file, Read read) {
  std::string wrong;
  std::error_code code;
  if (!fs::is_regular_file(file, code))
    return Error{ErrorKind::no_input, file, "is not an ordinary file",
                 "mend it, or move it out of the folder"};
  const auto text = whole_file(file, kMostBytes);
  if (!text) return text.error();
  if (const auto line = line_of_nested_keys(*text))
    return Error{ErrorKind::no_input, file,
                 "line " + std::to_string(*line) + ": too many dots outside of quotes",
                 "mend it, or move it out of the folder"};
  try {
    read(toml::parse(*text, file.string()));
    return {};
  } catch (const Wrong& error) {
    wrong = error.what;
  } catch (const toml::parse_error& error) {
    wrong = "line " + std::to_string(error.source().begin.line) + ", column " +
            std::to_string(error.source().begin.column) +
            ": is not TOML: " + std::string(error.description());
  }
  return Error{ErrorKind::no_input, file, wrong, "mend it, or move it out of the folder"};
}

}  // namespace

Result<fs::path> folder_named_in(const fs::path& file) {
  fs::path folder = file.parent_path();
  const auto read = with_table(file, [&](const toml::table& table) {
    const toml::node* node = table.get("folder");
    if (node == nullptr) return;
    folder = (folder / text_of(*node, "folder")).lexically_normal();
    std::error_code code;
    if (!fs::is_directory(folder, code))
      fail(*node, "\"folder\" must name the folder that holds the recordings");
  });
  if (!read) return read.error();
  return folder;
}

Result<void> read_session_file(const fs::path& file, bool may_lead_out, Session& session) {
  return with_table(file,
                    [&](const toml::table& table) { Reader(may_lead_out, session).read(table); });
}

}  // namespace kilter::session
