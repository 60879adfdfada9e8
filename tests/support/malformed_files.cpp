#include "support/malformed_files.h"

#include <sndfile.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <map>
#include <ostream>
#include <stdexcept>

#include "support/ffmpeg_tool.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::test {
namespace {

using Bytes = std::string;

// ---- the files that are broken

/// One second of noise. `kind` is a file ending; what libsndfile does not write, ffmpeg does.
Bytes made_file(const std::string& kind, const std::string& options) {
  const TemporaryFolder folder;
  const std::vector<Samples> sound{noise(kMalformedFrames, 0.3F, 7)};
  const std::string name = "a." + kind;
  if (options.empty()) {
    const int format = kind == "wav"    ? SF_FORMAT_WAV | SF_FORMAT_PCM_16
                       : kind == "aiff" ? SF_FORMAT_AIFF | SF_FORMAT_PCM_16
                       : kind == "au"   ? SF_FORMAT_AU | SF_FORMAT_PCM_16
                       : kind == "caf"  ? SF_FORMAT_CAF | SF_FORMAT_PCM_16
                       : kind == "w64"  ? SF_FORMAT_W64 | SF_FORMAT_PCM_16
                       : kind == "rf64" ? SF_FORMAT_RF64 | SF_FORMAT_PCM_16
                       : kind == "flac" ? SF_FORMAT_FLAC | SF_FORMAT_PCM_16
                       : kind == "ogg"  ? SF_FORMAT_OGG | SF_FORMAT_VORBIS
                       : kind == "opus" ? SF_FORMAT_OGG | SF_FORMAT_OPUS
                                        : SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III;
    write_sound(folder / name, sound, kMalformedRateHz, format);
  } else {
    write_sound(folder / "source.wav", sound, kMalformedRateHz);
    if (!code_with_ffmpeg(folder / "source.wav", options, folder / name)) return "";
  }
  return read_text(folder / name);
}

/// The same, made once for all tests of a run.
const Bytes& good_file(const std::string& kind, const std::string& options) {
  static std::map<std::string, Bytes> made;
  const auto [file, is_new] = made.try_emplace(kind + ' ' + options);
  if (is_new) file->second = made_file(kind, options);
  return file->second;
}

// ---- ways to break them

using Break = std::function<void(Bytes&)>;

Bytes number(std::uint64_t value, int bytes, bool big) {
  Bytes text;
  for (int i = 0; i < bytes; ++i) {
    const int shift = 8 * (big ? bytes - 1 - i : i);
    text += static_cast<char>(value >> shift);
  }
  return text;
}
Bytes little(std::uint64_t value, int bytes = 4) { return number(value, bytes, false); }
Bytes big(std::uint64_t value, int bytes = 4) { return number(value, bytes, true); }

void put(Bytes& file, std::size_t at, const Bytes& bytes) {
  if (at >= file.size()) file.resize(at, '\0');
  file.replace(at, bytes.size(), bytes);
}

/// Overwrites `from` bytes behind the first (or last) place where `mark` stands.
Break at_mark(const std::string& mark, std::ptrdiff_t from, const Bytes& bytes, bool last = false) {
  return [=](Bytes& file) {
    const std::size_t at = last ? file.rfind(mark) : file.find(mark);
    if (at == std::string::npos) throw std::logic_error(mark + " is not there to be broken");
    put(file, at + static_cast<std::size_t>(from), bytes);
  };
}
Break at_byte(std::size_t at, const Bytes& bytes) {
  return [=](Bytes& file) { put(file, at, bytes); };
}
Break cut_to(double share) {
  return [=](Bytes& file) {
    file.resize(static_cast<std::size_t>(static_cast<double>(file.size()) * share));
  };
}
Break first_bytes(std::size_t count) {
  return [=](Bytes& file) { file.resize(std::min(count, file.size())); };
}
Bytes garbage(std::size_t count) {
  Bytes bytes;
  for (const float x : noise(count, 127.0F, 3)) bytes += static_cast<char>(std::lround(x));
  return bytes;
}
Break garbage_from(double share, std::size_t count) {
  return [=](Bytes& file) {
    const auto at = static_cast<std::size_t>(static_cast<double>(file.size()) * share);
    put(file, at, garbage(std::min(count, file.size() - at)));
  };
}
Break without(const std::string& mark) { return at_mark(mark, 0, Bytes(mark.size(), 'x')); }
Break replaced_by(const Bytes& bytes) {
  return [=](Bytes& file) { file = bytes; };
}
Break both(const Break& first, const Break& second) {
  return [=](Bytes& file) {
    first(file);
    second(file);
  };
}

constexpr const char* kAac = "-c:a aac";
constexpr const char* kIndexFirst = "-c:a aac -movflags faststart";
constexpr const char* kOpus = "-c:a libopus";
constexpr const char* kWma = "-c:a wmav2";
const Bytes kOnes(4, '\xFF');
const Bytes kZeros(4, '\0');

}  // namespace

void PrintTo(const Defect& defect, std::ostream* out) { *out << defect.name; }

std::vector<Defect> wav_defects() {
  return {Defect{"WavOfOneByte", "wav", "", first_bytes(1), Expect::refused},
          Defect{"WavOfTwelveBytes", "wav", "", first_bytes(12), Expect::refused},
          Defect{"WavCutInItsHeader", "wav", "", first_bytes(30), Expect::refused},
          Defect{"WavOfAHeaderAlone", "wav", "", first_bytes(44), Expect::refused},
          Defect{"WavCutInAFrame", "wav", "", first_bytes(4045), Expect::told},
          Defect{"WavCutInTheMiddle", "wav", "", cut_to(0.7), Expect::told},
          Defect{"WavClaimsFourGigabytes", "wav", "", at_mark("data", 4, kOnes), Expect::whole},
          Defect{"WavClaimsNoSound", "wav", "", at_mark("data", 4, kZeros), Expect::told},
          Defect{"WavOfNoChannels", "wav", "", at_mark("fmt ", 10, little(0, 2)), Expect::refused},
          Defect{"WavOf65535Channels", "wav", "", at_mark("fmt ", 10, little(0xFFFF, 2)),
                 Expect::refused},
          Defect{"WavAtZeroHertz", "wav", "", at_mark("fmt ", 12, kZeros), Expect::refused},
          Defect{"WavAtFourGigahertz", "wav", "", at_mark("fmt ", 12, kOnes), Expect::refused},
          Defect{"WavOfNoBits", "wav", "", at_mark("fmt ", 22, little(0, 2)), Expect::refused},
          Defect{"WavOfAnUnknownCoding", "wav", "", at_mark("fmt ", 8, little(0x7777, 2)),
                 Expect::refused},
          Defect{"WavWithoutFmt", "wav", "", without("fmt "), Expect::refused},
          Defect{"WavWithoutData", "wav", "", without("data"), Expect::refused},
          Defect{"WavWithAFmtThatNeverEnds", "wav", "", at_mark("fmt ", 4, kOnes), Expect::refused},
          Defect{"WavWithARiffSizeOfZero", "wav", "", at_byte(4, kZeros), Expect::whole},
          Defect{"WavOfZerosOnly", "wav", "", replaced_by(Bytes(5000, '\0')), Expect::refused},
          Defect{"WavOfGarbageOnly", "wav", "", replaced_by(garbage(5000)), Expect::refused},
          Defect{"Rf64WithoutDs64", "rf64", "", without("ds64"), Expect::refused},
          Defect{"Rf64CutInTheMiddle", "rf64", "", cut_to(0.6), Expect::told},
          Defect{"W64CutInTheMiddle", "w64", "", cut_to(0.6), Expect::told},
          Defect{"Rf64ThatClaimsExabytes", "rf64", "",
                 at_mark("ds64", 16, big(0x7FFFFFFFFFFFFFFF, 8)), Expect::whole},
          Defect{"W64OfNegativeSize", "w64", "", at_byte(16, Bytes(8, '\xFF')), Expect::whole}};
}

std::vector<Defect> other_pcm_defects() {
  return {Defect{"AiffCutInItsHeader", "aiff", "", first_bytes(20), Expect::refused},
          Defect{"AiffCutInTheMiddle", "aiff", "", cut_to(0.6), Expect::told},
          Defect{"AuCutInTheMiddle", "au", "", cut_to(0.6), Expect::told},
          Defect{"AiffOf65535Channels", "aiff", "", at_mark("COMM", 8, big(0xFFFF, 2)),
                 Expect::refused},
          Defect{"AiffAtNoRate", "aiff", "", at_mark("COMM", 16, Bytes(10, '\0')), Expect::refused},
          Defect{"AiffWithoutSound", "aiff", "", without("SSND"), Expect::refused},
          Defect{"AuOfNoChannels", "au", "", at_byte(20, kZeros), Expect::refused},
          Defect{"AuWhoseSoundStartsBehindItsEnd", "au", "", at_byte(4, big(0x7FFFFFFF)),
                 Expect::refused},
          Defect{"CafCutInTheMiddle", "caf", "", cut_to(0.5), Expect::told},
          Defect{"CafOfNoChannels", "caf", "", at_mark("desc", 36, kZeros), Expect::refused},
          Defect{"CafAtAnInfiniteRate", "caf", "", at_mark("desc", 12, big(0x7FF0000000000000, 8)),
                 Expect::refused},
          Defect{"FlacWithoutItsStart", "flac", "", at_byte(0, "xxxx"), Expect::refused},
          Defect{"FlacCutInItsHeader", "flac", "", first_bytes(30), Expect::refused},
          Defect{"FlacCutInTheMiddle", "flac", "", cut_to(0.5), Expect::told},
          Defect{"FlacThatClaimsDays", "flac", "", at_byte(21, Bytes("\xFF\xFF\xFF\xFF\xFF", 5)),
                 Expect::whole},
          Defect{"FlacWithGarbageInside", "flac", "", garbage_from(0.5, 3000), Expect::told}};
}

std::vector<Defect> lossy_defects() {
  return {
      Defect{"OggOfItsHeadersAlone", "ogg", "", first_bytes(120), Expect::refused},
      Defect{"OggCutInTheMiddle", "ogg", "", cut_to(0.7), Expect::told},
      Defect{"OggWithoutItsEndMark", "ogg", "", at_mark("OggS", 5, Bytes(1, '\0'), true),
             Expect::told},
      Defect{"OggWithGarbageInside", "ogg", "", garbage_from(0.7, 300), Expect::told},
      Defect{"OpusCutInTheMiddle", "opus", "", cut_to(0.6), Expect::told},
      Defect{"OpusOfNoChannels", "opus", "", at_mark("OpusHead", 9, Bytes(1, '\0')),
             Expect::refused},
      Defect{"Mp3CutInTheMiddle", "mp3", "", cut_to(0.5), Expect::told},
      Defect{"Mp3WithGarbageInside", "mp3", "", garbage_from(0.5, 3000), Expect::told},
      Defect{"Mp3OfATagAlone", "mp3", "", replaced_by("ID3\x04" + Bytes("\0\0\0\0\0\0", 6)),
             Expect::refused},
      Defect{"Mp3WithATagThatNeverEnds", "mp3", "",
             replaced_by("ID3\x04" + Bytes("\0\0\x7F\x7F\x7F\x7F", 6) + Bytes(90, 'x')),
             Expect::refused},
      Defect{"Mp3OfText", "mp3", "", replaced_by("The lamp was lit at dusk.\n"), Expect::refused},
      Defect{"AdtsOfSyncsAlone", "aac", "", replaced_by("\xFF\xF1" + Bytes(98, '\0')),
             Expect::refused},
      Defect{"AdtsCutInTheMiddle", "aac", kAac, cut_to(0.5), Expect::told},
      Defect{"AdtsWithGarbageInside", "aac", kAac, garbage_from(0.5, 2000), Expect::told},
      Defect{"AmrOfItsMarkAlone", "amr", "", replaced_by("#!AMR\n"), Expect::refused},
      Defect{"AmrOfGarbage", "amr", "", replaced_by("#!AMR\n" + Bytes(99, '\xFF')),
             Expect::refused},
      Defect{"WmaOfItsMarkAlone", "wma", kWma, first_bytes(16), Expect::refused},
      Defect{"WmaCutInItsHeader", "wma", kWma, first_bytes(200), Expect::refused},
      Defect{"WmaOf65535Channels", "wma", kWma,
             at_mark(Bytes("\x61\x01\x01\x00", 4), 2, little(0xFFFF, 2)), Expect::refused}};
}

std::vector<Defect> mp4_defects() {
  return {
      Defect{"Mp4OfItsMarkAlone", "m4a", kAac, first_bytes(28), Expect::refused},
      Defect{"Mp4WithoutItsIndex", "m4a", kAac, cut_to(0.5), Expect::refused},
      Defect{"Mp4CutBehindItsIndex", "m4a", kIndexFirst, cut_to(0.6), Expect::told},
      Defect{"Mp4WhoseIndexIsCut", "m4a", kIndexFirst, first_bytes(500), Expect::refused},
      Defect{"Mp4OfFourBillionPackets", "m4a", kAac, at_mark("stsz", 12, kOnes), Expect::refused},
      Defect{"Mp4OfPacketsOfFourGigabytes", "m4a", kAac, at_mark("stsz", 8, kOnes),
             Expect::refused},
      Defect{"Mp4WhoseSoundLiesBehindItsEnd", "m4a", kAac, at_mark("stco", 12, kOnes),
             Expect::refused},
      Defect{"Mp4WithoutATimescale", "m4a", kAac, at_mark("mdhd", 16, kZeros), Expect::told},
      Defect{"Mp4ThatClaimsHours", "m4a", kAac, at_mark("mdhd", 20, big(0x7FFFFFFF)),
             Expect::whole},
      Defect{"Mp4WhosePacketsLastHours", "m4a", kAac, at_mark("stts", 16, big(0x0FFFFFFF)),
             Expect::refused},
      Defect{"Mp4WhoseEditListClaimsHours", "m4a", kAac, at_mark("elst", 12, big(0x7FFFFFFF)),
             Expect::whole},
      Defect{"Mp4CutByItsEditListToNothing", "m4a", kAac, at_mark("elst", 16, big(0x7FFFFFFF)),
             Expect::refused},
      Defect{"Mp4WhoseEditListIsCut", "m4a", kAac, at_mark("elst", 8, kOnes), Expect::whole},
      Defect{"Mp4WhoseCodingHasNoName", "m4a", kAac, at_mark("mp4a", 0, "xxxx"), Expect::whole},
      Defect{"Mp4OfAnAtomOfNoSize", "m4a", kAac, at_mark("moov", -4, kZeros), Expect::whole},
      Defect{"Mp4OfAnAtomInAnAtomOfItself", "m4a", kAac, at_mark("trak", -4, big(8)),
             Expect::refused},
      Defect{"Mp4WithGarbageInside", "m4a", kIndexFirst, garbage_from(0.6, 1500), Expect::told},
      Defect{"Mp4OfText", "mp4", "", replaced_by("The lamp was lit at dusk.\n"), Expect::refused},
      Defect{"Mp4ThatIsAPlaylist", "mp4", "",
             replaced_by("#EXTM3U\n#EXTINF:10,\nhttp://127.0.0.1/a.ts\n"), Expect::refused},
      Defect{"Mp4ThatNamesOtherFiles", "mp4", "",
             replaced_by("ffconcat version 1.0\nfile /etc/hostname\n"), Expect::refused}};
}

std::vector<Defect> matroska_defects() {
  return {Defect{"WebmOfItsMarkAlone", "webm", kOpus, first_bytes(4), Expect::refused},
          Defect{"WebmOfItsHeaderAlone", "webm", kOpus, first_bytes(64), Expect::refused},
          Defect{"WebmCutInTheMiddle", "webm", kOpus, cut_to(0.6), Expect::told},
          Defect{"WebmWithGarbageInside", "webm", kOpus, garbage_from(0.5, 3000), Expect::told},
          Defect{"WebmWithoutItsTracks", "webm", kOpus,
                 at_mark("\x16\x54\xAE\x6B", 0, "xxxx", true), Expect::refused},
          Defect{"WebmOfAnUnknownCoding", "webm", kOpus, at_mark("A_OPUS", 0, "A_XXXX"),
                 Expect::refused},
          Defect{"WebmWhoseCoderHasNoHeader", "webm", kOpus, at_mark("OpusHead", 0, "xxxxxxxx"),
                 Expect::whole},
          Defect{"WebmOfNoChannels", "webm", kOpus, at_mark("OpusHead", 9, Bytes(1, '\0')),
                 Expect::refused},
          Defect{"MatroskaOfZeros", "mkv", kAac,
                 both(first_bytes(48), at_byte(48, Bytes(4000, '\0'))), Expect::refused},
          // The last cluster's own time, in milliseconds.
          Defect{"MatroskaThatLeapsByHalfAMinute", "mkv", "-c:a aac -cluster_time_limit 200",
                 at_mark("\x1F\x43\xB6\x75", 14, "\x7F\xFF", true), Expect::told}};
}

std::vector<Defect> all_defects() {
  std::vector<Defect> all;
  for (const auto& part :
       {wav_defects(), other_pcm_defects(), lossy_defects(), mp4_defects(), matroska_defects()})
    all.insert(all.end(), part.begin(), part.end());
  return all;
}

bool needs_libav(const std::string& kind) {
  return kind == "m4a" || kind == "mp4" || kind == "mov" || kind == "webm" || kind == "mkv" ||
         kind == "aac" || kind == "wma" || kind == "amr" || kind == "caf";  // CAF: where it is cut
}

std::string malformed_file(const Defect& defect) {
  std::string bytes = good_file(defect.kind, defect.options);
  if (!bytes.empty()) defect.damage(bytes);
  return bytes;
}

}  // namespace kilter::test
