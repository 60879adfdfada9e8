// session.toml, from whoever: a session whose every index and name holds, or an error with a line.
// In a folder from elsewhere it names nothing outside of it.
#include "fuzz.h"
#include "kilter/session/session.h"
#include "session_file.h"

namespace kilter::fuzz {
namespace {

namespace fs = std::filesystem;

fs::path session_folder() {
  static const fs::path made = [] {
    const fs::path path = folder() / "show";
    fs::create_directories(path / "old");
    put_file("outside.wav", "RIFF....WAVE");
    for (const char* name :
         {"keeper.wav", "mate.flac", "mixdown.wav", "rec_0001.wav", "rec_0002.wav", "old/cook.wav"})
      put_file("show/" + std::string(name), "RIFF....WAVE");
    return fs::canonical(path);
  }();
  return made;
}

void require_whole(const session::Session& session) {
  require(!session.mix || *session.mix < session.files.size(), "the mix is one of the files");
  for (const session::DeclaredTrack& track : session.declared) {
    require(track.file < session.files.size(), "a track is of one of the files");
    require(track.channel >= 0 && track.channel <= 64, "channels go to 64");
    require(!track.pinned || track.start_s, "who is pinned has a place");
    require(!track.start_s || std::abs(*track.start_s) <= 2 * 86400.0, "starts are near");
  }
  for (const session::SessionFile& file : session.files)
    require(!file.name.empty() && !file.path.empty(), "files have names");
}

bool lies_in(const fs::path& file, const fs::path& in) {
  const fs::path relative = fs::weakly_canonical(file).lexically_relative(in);
  return !relative.empty() && *relative.begin() != "..";
}

}  // namespace

void try_input(Input input) {
  const fs::path file = put_file("session.toml", input.rest());
  const fs::path inside = session_folder() / "session.toml";
  fs::rename(file, inside);

  const auto session = session::open_session({session_folder()}, std::nullopt);
  if (session) {
    require_whole(*session);
    for (const session::SessionFile& each : session->files) {
      require(lies_in(each.path, session_folder()), "a folder's files lie in it");
      for (const session::FilePart& part : each.later_parts)
        require(lies_in(part.path, session_folder()), "parts lie in it, too");
    }
  } else {
    require_clear(session.error());
    require(session.error().kind == ErrorKind::no_input, "a wrong session.toml is no input");
  }

  // By its own name it may lead anywhere, but not on a walk through this machine.
  const auto named = session::folder_named_in(inside);
  if (!named) require_clear(named.error());
  if (!named || !lies_in(*named, folder())) return;
  const auto trusted = session::open_session({inside}, std::nullopt);
  if (trusted)
    require_whole(*trusted);
  else
    require_clear(trusted.error());
}

}  // namespace kilter::fuzz
