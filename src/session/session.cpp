#include "kilter/session/session.h"

#include <algorithm>
#include <array>
#include <string_view>
#include <system_error>

#include "kilter/media/audio_file.h"
#include "kilter/session/names.h"
#include "session_file.h"
#include "session_files.h"

namespace kilter::session {
namespace {

namespace fs = std::filesystem;

constexpr const char* kSessionFile = "session.toml";

// From the one that keeps most of a sound to the one that keeps least; others come last.
constexpr std::array<std::string_view, 13> kFormats{".wav",  ".wave", ".bwf",  ".rf64", ".w64",
                                                    ".aif",  ".aiff", ".aifc", ".caf",  ".flac",
                                                    ".alac", ".au",   ".snd"};

std::size_t format_rank(const fs::path& file) {
  const auto found = std::find(kFormats.begin(), kFormats.end(), lower(file.extension().string()));
  return static_cast<std::size_t>(found - kFormats.begin());
}

Error no_input(const fs::path& file, std::string what, std::string next_step) {
  return {ErrorKind::no_input, file, std::move(what), std::move(next_step)};
}

Error missing(const fs::path& path) {
  return no_input(path, "there is no such file or folder", "check its name and where you stand");
}

bool is_there(const fs::path& path) {
  std::error_code code;
  return fs::exists(path, code);
}

bool is_folder(const fs::path& path) {
  std::error_code code;
  return fs::is_directory(path, code);
}

fs::path absolute_folder(const fs::path& path) {
  std::error_code code;
  const fs::path resolved = fs::weakly_canonical(path, code);
  return code ? fs::absolute(path).lexically_normal() : resolved;
}

std::string name_of(const fs::path& folder) {
  const std::string name = folder.filename().string();
  return name.empty() ? "session" : name;
}

/// A listed file keeps its own name even where it is a link to somewhere else.
fs::path absolute_file(const fs::path& path) {
  const fs::path folder = path.has_parent_path() ? path.parent_path() : fs::path(".");
  return absolute_folder(folder) / path.filename();
}

bool has_wanted_name(const fs::directory_entry& entry) {
  const fs::path name = entry.path().filename();
  return name.string().front() != '.' && media::has_audio_name(name);
}

struct FolderFiles {
  std::vector<fs::path> files;
  std::vector<std::string> left_out;  // links that lead elsewhere, or to no file
};

Result<FolderFiles> audio_files_in(const fs::path& folder) {
  std::error_code code;
  FolderFiles found;
  for (fs::directory_iterator entry(folder, code), end; !code && entry != end;
       entry.increment(code)) {
    if (!has_wanted_name(*entry)) continue;
    std::error_code problem;
    const bool is_file = entry->is_regular_file(problem) && !problem;
    std::error_code ignored;
    const bool is_link = entry->is_symlink(ignored);
    if (is_link && (!is_file || leads_out(entry->path(), folder)))
      found.left_out.push_back(entry->path().filename().string());
    else if (is_file)
      found.files.push_back(entry->path());
  }
  if (code)
    return no_input(folder, "the folder cannot be read: " + code.message(), "check your rights");
  if (!found.files.empty()) return found;
  if (!found.left_out.empty())
    return no_input(folder, "its audio files are links that lead out of the folder",
                    "copy the recordings into it, or name them one by one");
  return no_input(folder, "no audio files in this folder",
                  "name the folder that holds the recordings and the mixdown themselves");
}

fs::path common_folder(const std::vector<fs::path>& files) {
  fs::path common = files.front().parent_path();
  for (const fs::path& file : files) {
    const fs::path parent = file.parent_path();
    const auto fork = std::mismatch(common.begin(), common.end(), parent.begin(), parent.end());
    fs::path shared;
    for (auto part = common.begin(); part != fork.first; ++part) shared /= *part;
    common = shared;
  }
  return common;
}

SessionFile named(const fs::path& file, const fs::path& folder) {
  const fs::path relative = file.lexically_relative(folder);
  const bool inside = !relative.empty() && *relative.begin() != "..";
  return {file, inside ? relative.generic_string() : file.generic_string()};
}

void sort_for_people(std::vector<SessionFile>& files) {
  std::sort(files.begin(), files.end(), [](const SessionFile& a, const SessionFile& b) {
    return comes_before(a.name, b.name);
  });
}

Session session_of(const std::vector<fs::path>& files, const fs::path& folder) {
  Session session;
  session.name = name_of(folder);
  session.folder = folder;
  for (const fs::path& file : files) session.files.push_back(named(file, folder));
  sort_for_people(session.files);
  const auto last =
      std::unique(session.files.begin(), session.files.end(),
                  [](const SessionFile& a, const SessionFile& b) { return a.path == b.path; });
  session.files.erase(last, session.files.end());
  return session;
}

/// The user's own word for a path, in place of ours.
Error as_given(Error error, const fs::path& given) {
  error.file = given;
  return error;
}

Result<Session> session_in(const fs::path& folder) {
  const auto found = audio_files_in(folder);
  if (!found) return found.error();
  Session session = session_of(found->files, folder);
  session.left_out = found->left_out;
  session.given_as_folder = true;
  return session;
}

Result<Session> open_folder(const fs::path& given) {
  const fs::path folder = absolute_folder(given);
  auto session = session_in(folder);
  if (!session) return as_given(session.error(), given);
  const fs::path session_file = folder / kSessionFile;
  if (!is_there(session_file)) return session;
  if (leads_out(session_file, folder))
    return Error{ErrorKind::no_input, session_file, "is a link that leads out of the folder",
                 "copy the file itself there, or remove the link"};
  if (auto read = read_session_file(session_file, false, *session); !read) return read.error();
  return session;
}

Result<Session> open_session_file(const fs::path& given) {
  const fs::path session_file = absolute_file(given);
  const auto folder = folder_named_in(session_file);
  if (!folder) return folder.error();
  auto session = session_in(absolute_folder(*folder));
  if (!session) return as_given(session.error(), given);
  if (auto read = read_session_file(session_file, true, *session); !read) return read.error();
  return session;
}

Result<Session> open_list(const std::vector<fs::path>& arguments) {
  std::vector<fs::path> files;
  for (const fs::path& argument : arguments) {
    if (is_folder(argument))
      return Error{ErrorKind::bad_command, argument, "a folder among files",
                   "give one folder, or a list of audio files"};
    files.push_back(absolute_file(argument));
  }
  return session_of(files, common_folder(files));
}

Result<Session> open_arguments(const std::vector<fs::path>& arguments) {
  const fs::path& first = arguments.front();
  if (arguments.size() > 1) return open_list(arguments);
  if (!is_there(first)) return missing(first);
  if (is_folder(first)) return open_folder(first);
  if (first.extension() == ".toml") return open_session_file(first);
  return open_list(arguments);
}

/// Puts the file that --mix names into the session, if it is not there yet.
Result<void> tell_mix(const fs::path& mix, Session& session) {
  const fs::path file = is_there(mix) ? absolute_file(mix) : session.folder / mix;
  if (!is_there(file)) return missing(mix);
  const auto same = [&](const SessionFile& other) {
    std::error_code code;
    return other.path == file || fs::equivalent(other.path, file, code);
  };
  const auto found = std::find_if(session.files.begin(), session.files.end(), same);
  session.mix = static_cast<std::size_t>(found - session.files.begin());
  // Behind the others, so that what session.toml says of them by number still holds.
  if (found == session.files.end()) session.files.push_back(named(file, session.folder));
  return {};
}

}  // namespace

bool leads_out(const fs::path& path, const fs::path& folder) {
  const fs::path target = absolute_folder(path);
  const fs::path relative = target.lexically_relative(absolute_folder(folder));
  return relative.empty() || *relative.begin() == "..";
}

void remove_files(Session& session, const std::set<std::size_t>& gone) {
  std::vector<std::size_t> moved_to(session.files.size());
  std::vector<SessionFile> left;
  for (std::size_t i = 0; i < session.files.size(); ++i) {
    moved_to[i] = left.size();
    if (!gone.contains(i)) left.push_back(std::move(session.files[i]));
  }
  session.files = std::move(left);
  if (session.mix) session.mix = moved_to[*session.mix];
  for (DeclaredTrack& track : session.declared) track.file = moved_to[track.file];
}

Result<Session> open_session(const std::vector<fs::path>& arguments,
                             const std::optional<fs::path>& mix) {
  if (arguments.empty())
    return Error{
        ErrorKind::bad_command, {}, "no session given", "name a folder, or a list of audio files"};
  auto session = open_arguments(arguments);
  if (!session || !mix) return session;
  if (auto told = tell_mix(*mix, *session); !told) return told.error();
  return session;
}

bool differ_in_ending(const SessionFile& a, const SessionFile& b) {
  return a.path != b.path && a.path.parent_path() == b.path.parent_path() &&
         lower(a.path.stem().string()) == lower(b.path.stem().string());
}

std::vector<std::size_t> best_of_each_name(const std::vector<SessionFile>& files) {
  std::vector<std::size_t> best;
  for (std::size_t i = 0; i < files.size(); ++i) {
    const bool beaten = std::any_of(files.begin(), files.end(), [&](const SessionFile& other) {
      if (!differ_in_ending(files[i], other)) return false;
      const auto ours = format_rank(files[i].path);
      const auto theirs = format_rank(other.path);
      return theirs < ours || (theirs == ours && comes_before(other.name, files[i].name));
    });
    if (!beaten) best.push_back(i);
  }
  return best;
}

NamedMixes find_named_mixes(const std::vector<SessionFile>& files) {
  NamedMixes sure{{}, true};
  NamedMixes perhaps{{}, false};
  for (const std::size_t i : best_of_each_name(files)) {
    const MixWord word = mix_word(files[i].path.stem().string());
    if (word == MixWord::yes) sure.files.push_back(i);
    if (word == MixWord::perhaps) perhaps.files.push_back(i);
  }
  return sure.files.empty() ? perhaps : sure;
}

}  // namespace kilter::session
