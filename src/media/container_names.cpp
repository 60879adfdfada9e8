#include "container_names.h"

#include <algorithm>
#include <array>
#include <cstddef>
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
                            Mark{0, "\x0B\x77", "AC-3"},
                            Mark{0, "wvpk", "WavPack"},
                            Mark{0, "TTA1", "TTA"},
                            Mark{8, "AVI ", "AVI"},
                            Mark{0, "FLV\x01", "FLV"},
                            Mark{0, std::string_view("\0\0\x01\xBA", 4), "MPEG-PS"},
                            Mark{0, "ID3", "MP3"},
                            Mark{0, "\xFF\xF1", "AAC"},
                            Mark{0, "\xFF\xF9", "AAC"}};
/// Sound that libsndfile opens, or nobody here does: known by its beginning all the same.
constexpr std::array kOtherMarks{Mark{8, "WAVE", "WAV"},
                                 Mark{24, "wave", "W64"},
                                 Mark{8, "AIFF", "AIFF"},
                                 Mark{8, "AIFC", "AIFF"},
                                 Mark{0, "fLaC", "FLAC"},
                                 Mark{0, ".snd", "AU"},
                                 Mark{0, "MAC ", "APE"},
                                 Mark{0, "DSD ", "DSD"},
                                 Mark{0, "FRM8", "DSD"},
                                 Mark{0, "Creative Voice File", "VOC"},
                                 Mark{0, "\x7F\xFE\x80\x01", "DTS"}};
// Of the family of MP4, but photographs.
constexpr std::array<std::string_view, 6> kPictures{"ftyphei", "ftyphev",  "ftypmif",
                                                    "ftypmsf", "ftypavif", "ftypcrx"};
// A transport stream's packets begin alike; cameras put four bytes before each.
constexpr std::size_t kPacketBytes = 188;
constexpr std::size_t kCameraPacketBytes = 192;
constexpr std::size_t kHeadBytes = 4 * kCameraPacketBytes;
constexpr std::size_t kNameBytes = 64;

bool holds(const std::string& head, std::size_t at, std::string_view bytes) {
  return head.size() >= at + bytes.size() && head.compare(at, bytes.size(), bytes) == 0;
}

/// The header of an MPEG audio frame: eleven bits, a version, a layer, which AAC lacks, and a bit
/// rate and a sample rate that exist.
bool is_mpeg_audio(const std::string& head) {
  if (head.size() < 3) return false;
  const unsigned first = static_cast<unsigned char>(head[0]);
  const unsigned second = static_cast<unsigned char>(head[1]);
  const unsigned third = static_cast<unsigned char>(head[2]);
  return first == 0xFF && (second & 0xE0U) == 0xE0 && (second & 0x18U) != 0x08 &&
         (second & 0x06U) != 0 && (third & 0xF0U) != 0xF0 && (third & 0x0CU) != 0x0C;
}

bool is_transport_stream(const std::string& head, std::size_t at, std::size_t packet_bytes) {
  constexpr char kSync = 0x47;
  for (int i = 0; i < 3; ++i, at += packet_bytes)
    if (head.size() <= at || head[at] != kSync) return false;
  return true;
}

}  // namespace

std::string head_of(FileInput& file) {
  std::string head(kHeadBytes, '\0');
  head.resize(static_cast<std::size_t>(file.read_at(head, 0)));
  return head;
}

std::optional<std::string> container_name(const std::string& head) {
  for (const Mark& mark : kMarks) {
    if (!holds(head, mark.at, mark.bytes)) continue;
    // The two documents of this container tell themselves apart within their first bytes.
    if (head.substr(0, kNameBytes).find("webm") != std::string::npos) return "WebM";
    return mark.name;
  }
  if (is_transport_stream(head, 0, kPacketBytes) ||
      is_transport_stream(head, 4, kCameraPacketBytes))
    return "MPEG-TS";
  if (is_mpeg_audio(head)) return "MP3";
  return std::nullopt;
}

std::optional<std::string> sound_name(const std::string& head) {
  for (const std::string_view picture : kPictures)
    if (holds(head, 4, picture)) return std::nullopt;
  // The mark of Unicode text is the header of an MPEG frame as well.
  if (holds(head, 0, "\xFF\xFE")) return std::nullopt;
  for (const Mark& mark : kOtherMarks)
    if (holds(head, mark.at, mark.bytes)) return mark.name;
  return container_name(head);
}

bool is_w64_of_extensible_floats(const std::string& head) {
  // Its fmt chunk comes first: 16 bytes of name and 8 of size, then the format.
  constexpr std::size_t kFormatAt = 64;
  constexpr std::size_t kSubformatAt = kFormatAt + 24;
  return holds(head, 0, "riff") && holds(head, 24, "wave") && holds(head, 40, "fmt ") &&
         holds(head, kFormatAt, "\xFE\xFF") &&
         holds(head, kSubformatAt, std::string_view("\x03\x00", 2));
}

bool sndfile_reads(const std::string& container) {
  constexpr std::array<std::string_view, 9> kRead{"VOC", "CAF",  "Ogg",  "MP3", "WAV",
                                                  "W64", "AIFF", "FLAC", "AU"};
  return std::find(kRead.begin(), kRead.end(), container) != kRead.end();
}

}  // namespace kilter::media
