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

constexpr std::string_view kSessionFile = "session.toml";

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
  // Half the cost where all of it is there: the other looks up each of its folders as well.
  fs::path resolved = fs::canonical(path, code);
  if (code) resolved = fs::weakly_canonical(path, code);
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

// What programs call a file that they have not copied or fetched whole.
constexpr std::array<std::string_view, 6> kUnfinished{".part",     ".partial",  ".crdownload",
                                                      ".download", ".filepart", ".tmp"};

bool is_unfinished(const fs::path& name) {
  return std::find(kUnfinished.begin(), kUnfinished.end(), lower(name.extension().string())) !=
         kUnfinished.end();
}

bool is_hidden(const fs::path& path) { return path.filename().string().front() == '.'; }

bool is_audio(const fs::path& file) {
  return media::has_audio_name(file) || media::begins_like_audio(file);
}

/// Whether audio files lie in a folder, or not far below. A look, not a search: folders may be
/// huge.
bool holds_audio(const fs::path& folder, int levels_below = 2) {
  constexpr int kMostLookedAt = 1000;
  std::error_code code;
  int looked_at = 0;
  for (fs::directory_iterator entry(folder, code), end;
       !code && entry != end && looked_at < kMostLookedAt; entry.increment(code), ++looked_at) {
    std::error_code problem;
    if (is_hidden(entry->path()) || entry->is_symlink(problem)) continue;
    if (entry->is_directory(problem) ? levels_below > 0 && holds_audio(*entry, levels_below - 1)
                                     : entry->is_regular_file(problem) && is_audio(*entry))
      return true;
  }
  return false;
}

struct FolderFiles {
  std::vector<fs::path> files;
  std::vector<LeftOut> left_out;
};

/// Puts one thing in the folder where it belongs, or leaves it alone.
void sort_in(const fs::directory_entry& entry, const fs::path& folder, FolderFiles& found) {
  using Why = LeftOut::Why;
  const fs::path name = entry.path().filename();
  if (is_hidden(name)) return;
  const auto leave_out = [&](Why why) { found.left_out.push_back({name.string(), why}); };
  std::error_code problem;
  const bool is_file = entry.is_regular_file(problem);
  const bool is_folder = entry.is_directory(problem);
  if (entry.is_symlink(problem) && (!(is_file || is_folder) || leads_out(entry.path(), folder))) {
    // What a name does not tell, what it leads to must not: it is not looked at.
    if (media::has_audio_name(name)) leave_out(Why::leads_elsewhere);
  } else if (is_folder) {
    if (!entry.is_symlink(problem) && holds_audio(entry.path())) leave_out(Why::folder);
  } else if (!is_file) {
    if (media::has_audio_name(name)) leave_out(Why::no_file);
  } else if (is_unfinished(name)) {
    if (media::has_audio_name(name.stem()) || media::begins_like_audio(entry.path()))
      leave_out(Why::unfinished);
  } else if (is_audio(entry.path())) {
    found.files.push_back(entry.path());
  }
}

std::string names_in_quotes(const std::vector<LeftOut>& left_out, LeftOut::Why why) {
  constexpr std::size_t kMostNamed = 4;
  std::string text;
  std::size_t count = 0;
  for (const LeftOut& each : left_out) {
    if (each.why != why || ++count > kMostNamed) continue;
    text += (text.empty() ? "\"" : ", \"") + each.name + '"';
  }
  if (count > kMostNamed) text += " and " + std::to_string(count - kMostNamed) + " more";
  return text;
}

Error no_audio_in(const fs::path& folder, const std::vector<LeftOut>& left_out) {
  using Why = LeftOut::Why;
  if (const auto folders = names_in_quotes(left_out, Why::folder); !folders.empty())
    return no_input(folder, "no audio files in this folder, but in " + folders + " below it",
                    "name the one that holds the session, or move its files together");
  if (!names_in_quotes(left_out, Why::leads_elsewhere).empty())
    return no_input(folder, "its audio files are links that lead out of the folder",
                    "copy the recordings into it, or name them one by one");
  if (const auto files = names_in_quotes(left_out, Why::unfinished); !files.empty())
    return no_input(folder, "its audio files are not there whole yet: " + files,
                    "wait until they are copied, or copy them again");
  return no_input(folder, "no audio files in this folder",
                  "name the folder that holds the recordings and the mixdown themselves");
}

Result<FolderFiles> audio_files_in(const fs::path& folder) {
  std::error_code code;
  FolderFiles found;
  for (fs::directory_iterator entry(folder, code), end; !code && entry != end;
       entry.increment(code))
    sort_in(*entry, folder, found);
  if (code)
    return no_input(folder, "the folder cannot be read: " + code.message(), "check your rights");
  std::sort(found.left_out.begin(), found.left_out.end(),
            [](const LeftOut& a, const LeftOut& b) { return comes_before(a.name, b.name); });
  return found;
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

/// A show of ten hours with a microphone for each of fifty people has fewer, whatever its recorders
/// split; and work grows with the square of their number.
std::optional<Error> too_many_files(std::size_t count, const fs::path& given) {
  constexpr std::size_t kMostFiles = 1000;
  if (count <= kMostFiles) return std::nullopt;
  return Error{ErrorKind::unreadable, given,
               "it holds " + std::to_string(count) + " audio files, more than any session",
               "name the folder of one session, or the files that belong to it"};
}

Result<Session> session_in(const fs::path& folder) {
  const auto found = audio_files_in(folder);
  if (!found) return found.error();
  if (auto error = too_many_files(found->files.size(), folder)) return *std::move(error);
  Session session = session_of(found->files, folder);
  session.left_out = found->left_out;
  session.given_as_folder = true;
  return session;
}

/// Reads what session.toml says, if there is one, and takes its word for what lies further below.
Result<Session> completed(Session session, const std::optional<fs::path>& session_file,
                          bool may_lead_out, const fs::path& given) {
  if (session_file)
    if (auto read = read_session_file(*session_file, may_lead_out, session); !read)
      return read.error();
  if (session.files.empty()) return no_audio_in(given, session.left_out);
  std::erase_if(session.left_out, [&](const LeftOut& each) {
    const bool is_used =
        std::any_of(session.files.begin(), session.files.end(), [&](const SessionFile& file) {
          return file.name == each.name || file.name.starts_with(each.name + '/');
        });
    return is_used;
  });
  return session;
}

/// Its name in any case, as some computers keep names.
std::optional<fs::path> session_file_in(const fs::path& folder) {
  std::optional<fs::path> found;
  std::error_code code;
  for (fs::directory_iterator entry(folder, code), end; !code && entry != end;
       entry.increment(code)) {
    const std::string name = entry->path().filename().string();
    if (lower(name) == kSessionFile && (!found || name == kSessionFile)) found = entry->path();
  }
  return found;
}

Result<Session> open_folder(const fs::path& given) {
  const fs::path folder = absolute_folder(given);
  auto session = session_in(folder);
  if (!session) return as_given(session.error(), given);
  const auto session_file = session_file_in(folder);
  if (session_file && !is_there(*session_file))
    return no_input(*session_file, "is a link to no file", "mend the link, or remove it");
  if (session_file && leads_out(*session_file, folder))
    return no_input(*session_file, "is a link that leads out of the folder",
                    "copy the file itself there, or remove the link");
  return completed(*std::move(session), session_file, false, given);
}

Result<Session> open_session_file(const fs::path& given) {
  const fs::path session_file = absolute_file(given);
  const auto folder = folder_named_in(session_file);
  if (!folder) return folder.error();
  auto session = session_in(absolute_folder(*folder));
  if (!session) return as_given(session.error(), given);
  return completed(*std::move(session), session_file, true, given);
}

Result<Session> open_list(const std::vector<fs::path>& arguments) {
  std::vector<fs::path> files;
  for (const fs::path& argument : arguments) {
    if (is_folder(argument))
      return Error{ErrorKind::bad_command, argument, "a folder among files",
                   "give one folder, or a list of audio files"};
    files.push_back(absolute_file(argument));
  }
  if (auto error = too_many_files(files.size(), common_folder(files))) return *std::move(error);
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
