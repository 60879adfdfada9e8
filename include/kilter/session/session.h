// Which files make a session.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "kilter/base/lineup.h"
#include "kilter/base/result.h"

namespace kilter::session {

struct FilePart {
  std::filesystem::path path;  ///< to open it by
  std::string name;            ///< as the lineup says it: relative to the folder, else absolute
};

/// One recording: a file, or the files that a recorder split it into.
struct SessionFile {
  std::filesystem::path path;  ///< of the first part
  std::string name;
  std::vector<FilePart> later_parts{};  ///< go on where the one before ends, without a gap
};

/// What session.toml says of one channel of one file. Nothing said is left to names and sound.
struct DeclaredTrack {
  std::size_t file{0};  ///< index into Session::files
  int channel{0};       ///< from 1; 0: all of the file's channels
  std::string name;
  std::string recorder;
  std::optional<Role> role;
  std::optional<double> start_s{};  ///< timeline time of its first sample
  bool pinned{false};               ///< start_s is an order, not a hint
  int line{0};                      ///< of session.toml, where it names the channel
};

/// Two files of one format, numbered in a row, whose sound does not show that one goes on in the
/// other.
struct NumberedPair {
  std::string first;  ///< names of recordings in Session::files
  std::string second;
  bool may_be_mics{false};  ///< of one recorder: equally long
};

/// Something in the folder that was not looked at, though it may hold sound.
struct LeftOut {
  enum class Why {
    leads_elsewhere,  ///< a link out of the folder, or to no file
    no_file,          ///< a pipe, say
    unfinished,       ///< named like what is still being copied
    folder            ///< with audio files in it
  };
  std::string name;
  Why why{Why::no_file};
};

struct Session {
  std::string name;                ///< for people and for output files
  std::filesystem::path folder;    ///< what the files' names are relative to; absolute
  bool given_as_folder{false};     ///< false: a list of files
  std::vector<SessionFile> files;  ///< at least one, the mix among them, in order for people
  std::optional<std::size_t> mix;  ///< where it was told: --mix or session.toml
  std::vector<DeclaredTrack> declared;
  std::vector<NumberedPair> not_joined{};
  std::vector<LeftOut> left_out{};  ///< in order for people
};

/// Makes a session of the command line's arguments: one folder, one session.toml, or audio files.
/// Of a folder: its files that are named like sound or begin like it, not of its subfolders, and no
/// hidden ones; with a session.toml in it, what that says. Folders come from strangers: links that
/// lead out of a folder are left out, and its session.toml may name no file outside; one that is
/// given by its own name may. Reads no more of a file than its beginning, so a listed one may yet
/// be missing or broken. A thousand files are the most (unreadable). `mix` is looked for from where we stand, then in the folder. Fails with
/// no_input (nothing there, or session.toml is wrong) or bad_command.
Result<Session> open_session(const std::vector<std::filesystem::path>& arguments,
                             const std::optional<std::filesystem::path>& mix);

/// Whether two files are named alike but for the ending, as one sound in two formats is.
bool differ_in_ending(const SessionFile& a, const SessionFile& b);
/// Indices into `files` without those beside which the same sound lies in a better format, as
/// endings tell: a WAV file counts more than an MP3 of the same name.
std::vector<std::size_t> best_of_each_name(const std::vector<SessionFile>& files);

/// Files whose names call them the mix: indices into `files`, one format of each. When any is sure,
/// only sure ones.
struct NamedMixes {
  std::vector<std::size_t> files;
  bool sure{false};
};
NamedMixes find_named_mixes(const std::vector<SessionFile>& files);

}  // namespace kilter::session
