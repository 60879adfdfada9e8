#include "container_names.h"

#include <array>
#include <cstddef>
#include <fstream>
#include <string_view>

namespace kilter::media {
namespace {

struct Mark {
  std::size_t at;
  std::string_view bytes;
  const char* name;
};
// More than one mark may fit: the first in the list names the file.
constexpr std::array kMarks{Mark{4, "ftypM4A", "M4A"},
                            Mark{4, "ftypM4B", "M4A"},
                            Mark{4, "ftypqt", "MOV"},
                            Mark{4, "ftyp3g", "3GP"},
                            Mark{4, "ftyp", "MP4"},
                            Mark{4, "moov", "MOV"},
                            Mark{4, "mdat", "MOV"},
                            Mark{4, "wide", "MOV"},
                            Mark{0, "\x1A\x45\xDF\xA3", "Matroska"},
                            Mark{0, "\x30\x26\xB2\x75\x8E\x66\xCF\x11", "WMA"},
                            Mark{0, "#!AMR", "AMR"},
                            Mark{0, "BW64", "BW64"},
                            Mark{0, "caff", "CAF"},
                            Mark{0, "OggS", "Ogg"},
                            Mark{0, "ID3", "MP3"},
                            Mark{0, "\xFF\xF1", "AAC"},
                            Mark{0, "\xFF\xF9", "AAC"}};
constexpr std::size_t kHeadBytes = 64;

/// The header of an MPEG audio frame: eleven bits, a version, and a layer, which AAC lacks.
bool is_mpeg_audio(const std::string& head) {
  if (head.size() < 2) return false;
  const unsigned first = static_cast<unsigned char>(head[0]);
  const unsigned second = static_cast<unsigned char>(head[1]);
  return first == 0xFF && (second & 0xE0U) == 0xE0 && (second & 0x18U) != 0x08 &&
         (second & 0x06U) != 0;
}

}  // namespace

std::optional<std::string> container_name(const std::filesystem::path& file) {
  std::string head(kHeadBytes, '\0');
  std::ifstream stream(file, std::ios::binary);
  stream.read(head.data(), static_cast<std::streamsize>(head.size()));
  head.resize(static_cast<std::size_t>(stream.gcount()));
  for (const Mark& mark : kMarks) {
    if (head.size() < mark.at || head.compare(mark.at, mark.bytes.size(), mark.bytes) != 0)
      continue;
    // The two documents of this container tell themselves apart within their first bytes.
    if (head.find("webm") != std::string::npos) return "WebM";
    return mark.name;
  }
  if (is_mpeg_audio(head)) return "MP3";
  return std::nullopt;
}

bool is_w64_of_extensible_floats(const std::filesystem::path& file) {
  // Its fmt chunk comes first: 16 bytes of name and 8 of size, then the format.
  constexpr std::size_t kFormatAt = 64;
  constexpr std::size_t kSubformatAt = kFormatAt + 24;
  std::string head(kSubformatAt + 2, '\0');
  std::ifstream stream(file, std::ios::binary);
  stream.read(head.data(), static_cast<std::streamsize>(head.size()));
  if (static_cast<std::size_t>(stream.gcount()) < head.size()) return false;
  const auto holds = [&](std::size_t at, std::string_view bytes) {
    return head.compare(at, bytes.size(), bytes) == 0;
  };
  return holds(0, "riff") && holds(24, "wave") && holds(40, "fmt ") &&
         holds(kFormatAt, "\xFE\xFF") && holds(kSubformatAt, std::string_view("\x03\x00", 2));
}

bool sndfile_reads(const std::string& container) {
  return container == "CAF" || container == "Ogg" || container == "MP3";
}

}  // namespace kilter::media
