#include "kilter/session/session_draft.h"

#include <toml++/toml.h>

#include <algorithm>
#include <sstream>

#include "kilter/base/utf8.h"

namespace kilter::session {
namespace {

constexpr const char* kHead =
    "# What kilter cannot hear, or should not guess. Everything here may be left out: what is not\n"
    "# said is found from names and from the sound.\n\n";

constexpr const char* kTracks =
    "\n# A [[track]] for each microphone. Beside what stands here it may say\n"
    "#   role = \"room\"         room, remote, mix or ignore (leaves it out)\n"
    "#   recorder = \"desk\"     tracks of one recorder share a clock\n"
    "#   start_s = 12.5        where it starts on the mix's time: a hint\n"
    "#   pinned = true         makes start_s an order, whatever the sound says\n"
    "# and in \"parts\" several files, in order, where the recorder split one take.\n";

std::string quoted(const std::string& text) {
  std::ostringstream out;
  out << toml::value<std::string>(text);
  return out.str();
}

std::string in_one_line(std::string text) {
  for (char& c : text)
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F) c = ' ';
  return text;
}

/// `key = "text"`, or a comment where TOML cannot hold the text.
std::string line(const char* key, const std::string& text) {
  if (is_utf8(text)) return std::string(key) + " = " + quoted(text) + '\n';
  return std::string("# ") + key +
         ": the name is not UTF-8; rename the file to say something of it\n";
}

std::string parts_line(const std::vector<std::string>& parts) {
  std::string text = "parts = [";
  for (std::size_t i = 0; i < parts.size(); ++i) text += (i > 0 ? ", " : "") + quoted(parts[i]);
  return text + "]\n";
}

std::string track_text(const DraftTrack& track) {
  if (!std::all_of(track.parts.begin(), track.parts.end(),
                   [](const std::string& part) { return is_utf8(part); }))
    return "\n# A file whose name is not UTF-8: rename it to say something of it.\n";
  std::string text = "\n";
  if (!track.remark.empty() && is_utf8(track.remark))
    text += "# " + in_one_line(track.remark) + '\n';
  text += "[[track]]\n" + line("name", track.name) + parts_line(track.parts);
  if (track.channel > 0) text += "channel = " + std::to_string(track.channel) + '\n';
  return text;
}

}  // namespace

std::string session_text(const Draft& draft) {
  std::string text = kHead + line("title", draft.title);
  if (!draft.folder.empty())
    text += line("folder", draft.folder) +
            "# Where the recordings lie. Take it out when this file is put beside them as "
            "session.toml.\n";
  text += draft.mix.empty() ? "# mix = \"\"   the mixdown: it is not clear which file it is\n"
                            : line("mix", draft.mix);
  text += kTracks;
  for (const DraftTrack& track : draft.tracks) text += track_text(track);
  return text;
}

}  // namespace kilter::session
