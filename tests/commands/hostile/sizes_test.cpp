// Files that claim to be more than they are, or become it when they are decoded.
#include <gtest/gtest.h>
#include <sndfile.h>

#include <cmath>
#include <cstdint>
#include <limits>

#include "stage.h"

namespace kilter {
namespace {

using test::align;
using test::conform;
using test::HostileCase;
using test::Stage;
using test::survey;

/// `bytes` bytes of a number, the low one first or the high one.
std::string low(std::uint64_t number, int bytes) {
  std::string text;
  for (int i = 0; i < bytes; ++i, number >>= 8U) text += static_cast<char>(number & 0xFFU);
  return text;
}
std::string high(std::uint64_t number, int bytes) {
  const std::string text = low(number, bytes);
  return {text.rbegin(), text.rend()};
}

constexpr std::uint64_t kHours = 2'000'000'000;  // bytes: six hours of 16 bits at 48 kHz
constexpr std::uint64_t kAges = std::uint64_t{1} << 60U;

std::string wav_format(std::uint32_t rate_hz, std::uint32_t channels = 1) {
  return "WAVEfmt " + low(16, 4) + low(1, 2) + low(channels, 2) + low(rate_hz, 4) +
         low(std::uint64_t{rate_hz} * channels * 2, 4) + low(std::uint64_t{channels} * 2, 2) +
         low(16, 2);
}
std::string wav(std::uint32_t claimed, std::uint32_t rate_hz = 48000, std::uint32_t channels = 1) {
  return "RIFF" + low(claimed + 36U, 4) + wav_format(rate_hz, channels) + "data" + low(claimed, 4) +
         std::string(56, 'k');
}
std::string rf64() {
  return "RF64" + low(0xFFFFFFFF, 4) + "WAVEds64" + low(28, 4) + low(kAges, 8) + low(kAges, 8) +
         low(kAges / 2, 8) + low(0, 4) + wav_format(48000).substr(4) + "data" + low(0xFFFFFFFF, 4) +
         std::string(56, 'k');
}
std::string aiff() {
  // 48000 as an 80-bit float: exponent 16383 + 15, mantissa 48000 << 48.
  return "FORM" + high(kHours + 46, 4) + "AIFFCOMM" + high(18, 4) + high(1, 2) +
         high(kHours / 2, 4) + high(16, 2) + high(0x400E, 2) +
         high(std::uint64_t{48000} << 48U, 8) + "SSND" + high(kHours + 8, 4) + high(0, 8) +
         std::string(56, 'k');
}
std::string caf() {
  return "caff" + high(1, 2) + high(0, 2) + "desc" + high(32, 8) +
         high(0x40E7700000000000, 8) /* 48000.0 */ + "lpcm" + high(0, 4) + high(2, 4) + high(1, 4) +
         high(1, 4) + high(16, 4) + "data" + high(kAges, 8) + high(0, 4) + std::string(56, 'k');
}
std::string flac() {
  // STREAMINFO: blocks of 4096, 48 kHz, one channel, 16 bits, 2^36 - 1 frames, no sum.
  const std::uint64_t packed =
      std::uint64_t{48000} << 44U | std::uint64_t{15} << 36U | 0xFFFFFFFFFULL;
  return "fLaC" + high(0x80000022, 4) + high(4096, 2) + high(4096, 2) + high(0, 6) +
         high(packed, 8) + std::string(16, '\0') + std::string(50, 'k');
}
std::string mp3() {
  // One frame of layer III, 128 kbit/s, 48 kHz, whose first words promise 2^32 - 1 frames.
  std::string frame = high(0xFFFB9464, 4) + std::string(32, '\0') + "Xing" + high(3, 4) +
                      high(0xFFFFFFFF, 4) + high(0xFFFFFFFF, 4);
  frame.resize(384, '\0');
  return frame;
}
std::string box(const std::string& name, const std::string& content) {
  return high(content.size() + 8, 4) + name + content;
}
/// A sound track of PCM whose tables say that 2^32 - 1 samples lie in one chunk.
std::string mp4() {
  const std::string sound = high(0, 6) + high(1, 2) + high(0, 8) + high(1, 2) + high(16, 2) +
                            high(0, 4) + high(std::uint64_t{48000} << 16U, 4);
  const std::string tables =
      box("stsd", high(0, 4) + high(1, 4) + box("sowt", sound)) +
      box("stts", high(0, 4) + high(1, 4) + high(0xFFFFFFFF, 4) + high(1, 4)) +
      box("stsc", high(0, 4) + high(1, 4) + high(1, 4) + high(0xFFFFFFFF, 4) + high(1, 4)) +
      box("stsz", high(0, 4) + high(2, 4) + high(0xFFFFFFFF, 4)) +
      box("stco", high(0, 4) + high(1, 4) + high(40, 4));
  const std::string media =
      box("mdhd", high(0, 12) + high(48000, 4) + high(0xFFFFFFFF, 4) + high(0, 4)) +
      box("hdlr", high(0, 8) + "soun" + std::string(13, '\0')) +
      box("minf", box("smhd", high(0, 8)) + box("stbl", tables));
  return box("ftyp", "qt  " + high(0, 4)) +
         box("moov", box("mvhd", high(0, 12) + high(48000, 4) + high(0xFFFFFFFF, 4) +
                                     std::string(80, '\0')) +
                         box("trak", box("tkhd", high(0, 84)) + box("mdia", media))) +
         box("mdat", std::string(56, 'k'));
}

/// A file beside a sound session, which must not suffer, and the file alone.
HostileCase beside_talk(const char* name, const std::string& file, const std::string& bytes,
                        int exit_alone, const char* says) {
  return {name,
          [=](Stage& stage) {
            stage.talk();
            stage.text(file, bytes);
          },
          {align({1}, says),
           {{"survey", "shows/hour/" + file}, {exit_alone}, says},
           {{"align", "shows/hour/" + file, "shows/hour/" + file, "--lineup", "out.l.json"},
            {3},
            "is the only audio file"}}};
}

std::vector<HostileCase> claims() {
  return {
      beside_talk("AWavOf100BytesOfHours", "z.wav", wav(kHours), 1,
                  "of the 05:47:13.333 that its header promises"),
      beside_talk("AWavOf4GiBTo100Bytes", "z.wav", wav(0xFFFFFFFE), 1, "Only 1 ms long"),
      beside_talk("AnRf64OfAges", "z.rf64", rf64(), 1, "Only 1 ms long"),
      beside_talk("AnAiffOf100BytesOfHours", "z.aiff", aiff(), 1, "that its header promises"),
      beside_talk("ACafOf100BytesOfAges", "z.caf", caf(), 3,
                  "it holds no sound that can be decoded"),
      beside_talk("AFlacOf100BytesOfWeeks", "z.flac", flac(), 3,
                  "cannot be decoded beyond frame 0"),
      beside_talk("AnMp3OfOneFrameOfYears", "z.mp3", mp3(), 3,
                  "it begins like MP3 but cannot be read"),
      beside_talk("AnMp4WhoseTablesPromiseADay", "z.mp4", mp4(), 1, ""),
      beside_talk("AWavAtNoRate", "z.wav", wav(56, 0), 3, "not a format we know"),
      beside_talk("AWavAt4GHz", "z.wav", wav(56, 0xFFFFFFFF), 3, "not a format we know"),
      beside_talk("AWavOf65535Channels", "z.wav", wav(56, 48000, 65535), 3, "Too many channels"),
      beside_talk("AWavOfNoSample", "z.wav", wav(0).substr(0, 44), 3, "it holds no sound"),
      beside_talk("AWavOfOneSample", "z.wav", wav(2).substr(0, 46), 1, "Only 0 ms long"),
  };
}

void silence_that_expands(Stage& stage, const std::string& file, double hours) {
  SF_INFO info{};
  info.samplerate = 8000;
  info.channels = 1;
  info.format = SF_FORMAT_FLAC | SF_FORMAT_PCM_16;
  SNDFILE* out = sf_open((stage.show() / file).c_str(), SFM_WRITE, &info);
  const std::vector<short> zeros(1U << 20U);
  const auto frames = static_cast<std::int64_t>(hours * 3600.0 * info.samplerate);
  for (std::int64_t at = 0; at < frames; at += std::ssize(zeros))
    sf_write_short(out, zeros.data(), std::ssize(zeros));
  sf_close(out);
}

std::vector<HostileCase> expanding() {
  return {
      {"AFlacOf400kBThatIsSixHoursOfSilence",
       [](Stage& stage) {
         stage.talk();
         silence_that_expands(stage, "z.flac", 6.0);
       },
       {survey({1}, "Nothing but silence in all of its 06:00:26"),
        align({1}, "Nothing but silence")}},
      {"AMixOf400kBThatIsSixHoursOfSilence",
       [](Stage& stage) {
         stage.talk();
         std::filesystem::remove(stage.show() / "mixdown.wav");
         silence_that_expands(stage, "mixdown.flac", 6.0);
       },
       {survey({1}, "Nothing but silence in all of its 06:00:26"),
        align({3}, "holds nothing but silence")}},
  };
}

KILTER_HOSTILE_TABLE(SizesThatLie, CostNoMemoryAndNoNeighbour, claims());
KILTER_HOSTILE_TABLE(SilenceThatExpands, CostsNoMemory, expanding());

}  // namespace
}  // namespace kilter
