// Every format, written by coders that are not ours, against the sound that went in.
#include <gtest/gtest.h>
#include <sndfile.h>

#include <algorithm>
#include <cstdint>
#include <iomanip>
#include <sstream>
#include <string>
#include <vector>

#include "read_whole.h"
#include "support/ffmpeg_tool.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::media {
namespace {

namespace fs = std::filesystem;
using test::Samples;

constexpr const char* kNoFfmpeg = "the ffmpeg command is not there: install ffmpeg";
constexpr const char* kNoLibav = "this build does not read it: build with FFmpeg's libraries";

/// Noise that is strongest in the lows, where every codec keeps it; in 24-bit steps. Another in
/// each channel. Its length is no multiple of any codec's packets.
std::vector<Samples> rumble(int rate_hz, int channels, double length_s = 1.2) {
  std::vector<Samples> sound;
  for (int c = 0; c < channels; ++c) {
    Samples samples = test::noise(static_cast<std::size_t>(length_s * rate_hz) + 13, 0.3F,
                                  static_cast<std::uint32_t>(c) + 1);
    float low = 0.0F;
    for (float& x : samples) {
      low += 0.25F * (x - low);
      x = std::ldexp(std::nearbyint(std::ldexp(low, 23)), -23);
    }
    sound.push_back(std::move(samples));
  }
  return sound;
}

struct Coded {
  const char* name;
  const char* file;
  const char* options;  // of ffmpeg
  int rate_hz;
  int channels;
  const char* label;
  int delay_frames;      // the known lead-in that no reader can know of; negative: cut too much
  int most_more_frames;  // padding behind the end that the container does not state
  bool lossy;
  bool needs_libav;
  bool has_lead_in;
};

class CodedFile : public testing::TestWithParam<Coded> {};

TEST_P(CodedFile, StartsAndEndsWithItsSource) {
  const Coded& row = GetParam();
  if (!test::has_ffmpeg()) GTEST_SKIP() << kNoFfmpeg;
  if (row.needs_libav && !reads_video_files()) GTEST_SKIP() << kNoLibav;
  const test::TemporaryFolder folder;
  const std::vector<Samples> source = rumble(row.rate_hz, row.channels);
  test::write_sound(folder / "source.wav", source, row.rate_hz);
  ASSERT_TRUE(test::code_with_ffmpeg(folder / "source.wav", row.options, folder / row.file));

  const auto heard = read_whole(folder / row.file);
  ASSERT_TRUE(heard) << heard.error().what;
  EXPECT_FALSE(heard->failure);
  EXPECT_EQ(heard->info.format, row.label);
  EXPECT_EQ(heard->info.rate.hz, row.rate_hz);
  EXPECT_EQ(heard->info.channels, row.channels);
  EXPECT_EQ(heard->info.lossy, row.lossy);
  // Of MP3, libsndfile does not tell.
  if (reads_video_files()) {
    EXPECT_EQ(heard->info.has_lead_in, row.has_lead_in);
  }
  EXPECT_FALSE(heard->info.has_video);
  EXPECT_EQ(heard->info.start_in_file_s, 0.0);
  EXPECT_EQ(heard->notes.jump_count, 0);
  EXPECT_EQ(heard->notes.missing.n, 0);
  EXPECT_EQ(heard->notes.lost_packets, 0);
  EXPECT_FALSE(heard->notes.breaks_off);

  const std::int64_t whole = std::ssize(source[0]) + row.delay_frames;
  EXPECT_GE(heard->frames(), whole);
  EXPECT_LE(heard->frames(), whole + row.most_more_frames);
  if (!row.lossy) {
    std::vector<Samples> channels = heard->channels;
    for (Samples& channel : channels) channel.resize(source[0].size());
    EXPECT_EQ(channels, source);
    return;
  }
  // Early and late: equal where nothing in between was lost or put in.
  const int length = row.rate_hz / 10;
  for (const int from : {row.rate_hz / 4, row.rate_hz}) {
    const auto lag = lag_frames(source[0], heard->channels[0], from, length, 2500);
    EXPECT_EQ(lag, row.delay_frames) << "from frame " << from;
  }
}

// W64 pads to 8 bytes, which FFmpeg's reader takes for another frame of 4.
INSTANTIATE_TEST_SUITE_P(
    Lossless, CodedFile,
    testing::Values(Coded{"Wav24", "a.wav", "-c:a pcm_s24le", 48000, 2, "WAV 24-bit", 0, 0, false,
                          false, false},
                    Coded{"Wav64FloatAt8000", "a.wav", "-c:a pcm_f64le", 8000, 1,
                          "WAV 64-bit float", 0, 0, false, false, false},
                    Coded{"WavExtensibleSixteenChannels", "a.wav", "-c:a pcm_s24le", 48000, 16,
                          "WAV 24-bit", 0, 0, false, false, false},
                    Coded{"Rf64", "a.wav", "-c:a pcm_s24le -rf64 always", 96000, 2, "RF64 24-bit",
                          0, 0, false, false, false},
                    Coded{"W64", "a.w64", "-c:a pcm_s24le", 44100, 1, "W64 24-bit", 0, 0, false,
                          false, false},
                    Coded{"W64Float", "a.w64", "-c:a pcm_f32le", 48000, 1, "W64 32-bit float", 0, 1,
                          false, true, false},
                    Coded{"W64Float64", "a.w64", "-c:a pcm_f64le", 48000, 2, "W64 64-bit float", 0,
                          0, false, true, false},
                    Coded{"Aiff24", "a.aiff", "-c:a pcm_s24be", 32000, 2, "AIFF 24-bit", 0, 0,
                          false, false, false},
                    Coded{"AifcFloat", "a.aifc", "-c:a pcm_f32be -f aiff", 48000, 1,
                          "AIFF 32-bit float", 0, 0, false, false, false},
                    Coded{"Caf24", "a.caf", "-c:a pcm_s24be", 88200, 1, "CAF 24-bit", 0, 0, false,
                          false, false},
                    Coded{"Flac24EightChannels", "a.flac", "-c:a flac -sample_fmt s32", 96000, 8,
                          "FLAC 24-bit", 0, 0, false, false, false},
                    Coded{"AlacInM4a", "a.m4a", "-c:a alac -sample_fmt s32p", 44100, 2, "M4A ALAC",
                          0, 0, false, true, false},
                    Coded{"AlacInCaf", "a.caf", "-c:a alac -sample_fmt s32p", 48000, 1, "CAF ALAC",
                          0, 0, false, true, false},
                    Coded{"PcmInMov", "a.mov", "-c:a pcm_s24le", 48000, 4, "MOV 24-bit", 0, 0,
                          false, true, false},
                    Coded{"PcmInMatroska", "a.mka", "-c:a pcm_f32le", 48000, 1, "Matroska 32-bit",
                          0, 0, false, true, false},
                    Coded{"WavPack24", "a.wv", "-c:a wavpack -sample_fmt s32p", 96000, 2, "WavPack",
                          0, 0, false, true, false},
                    Coded{"Tta24", "a.tta", "-c:a tta -sample_fmt s32", 44100, 2, "TTA", 0, 0,
                          false, true, false},
                    Coded{"PcmInAvi", "a.avi", "-c:a pcm_s24le", 48000, 2, "AVI 24-bit", 0, 0,
                          false, true, false},
                    Coded{"FlacInMatroska", "a.mka", "-c:a flac -sample_fmt s32", 48000, 1,
                          "Matroska FLAC", 0, 0, false, true, false}),
    [](const auto& each) { return each.param.name; });

// In MP4 and MOV ffmpeg rounds the end to a millisecond, so that one more of padding is kept.
INSTANTIATE_TEST_SUITE_P(
    Lossy, CodedFile,
    testing::Values(
        Coded{"AacInM4aAt8000", "a.m4a", "-c:a aac", 8000, 1, "M4A AAC", 0, 16, true, true, false},
        Coded{"AacInM4aAt44100Stereo", "a.m4a", "-c:a aac", 44100, 2, "M4A AAC", 0, 100, true, true,
              false},
        Coded{"AacInM4aAt96000", "a.m4a", "-c:a aac", 96000, 1, "M4A AAC", 0, 200, true, true,
              false},
        Coded{"AacInMp4FiveDotOne", "a.mp4", "-c:a aac", 48000, 6, "MP4 AAC", 0, 100, true, true,
              false},
        Coded{"AacInMovAt22050", "a.mov", "-c:a aac", 22050, 1, "MOV AAC", 0, 50, true, true,
              false},
        Coded{"AacIn3gp", "a.3gp", "-c:a aac", 16000, 1, "3GP AAC", 0, 32, true, true, false},
        // From here on 1024 frames of lead-in stay: the container cannot state them.
        Coded{"AacWithoutEditList", "a.m4a", "-c:a aac -use_editlist 0", 48000, 1, "M4A AAC", 1024,
              1024, true, true, true},
        Coded{"AacInAdts", "a.aac", "-c:a aac", 48000, 1, "AAC", 1024, 2048, true, true, true},
        Coded{"AacInMatroska", "a.mkv", "-c:a aac", 44100, 2, "Matroska AAC", 1024, 2048, true,
              true, true},
        Coded{"OpusInWebm", "a.webm", "-c:a libopus", 48000, 1, "WebM Opus", 0, 0, true, true,
              false},
        Coded{"OpusInWebmStereo", "a.webm", "-c:a libopus", 48000, 2, "WebM Opus", 0, 0, true, true,
              false},
        Coded{"OpusInWebmFiveDotOne", "a.webm", "-c:a libopus -b:a 384k", 48000, 6, "WebM Opus", 0,
              0, true, true, false},
        Coded{"OpusInMp4", "a.mp4", "-c:a libopus -strict -2", 48000, 1, "MP4 Opus", 0, 100, true,
              true, false},
        Coded{"OpusInOgg", "a.opus", "-c:a libopus", 48000, 1, "Ogg Opus", 0, 0, true, false,
              false},
        Coded{"VorbisAt8000", "a.ogg", "-c:a libvorbis", 8000, 1, "Ogg Vorbis", 0, 0, true, false,
              false},
        Coded{"VorbisAt48000SixChannels", "a.ogg", "-c:a libvorbis", 48000, 6, "Ogg Vorbis", 0, 0,
              true, false, false},
        // Nothing states its padding; the last packet may be whole.
        Coded{"VorbisInWebm", "a.webm", "-c:a libvorbis", 44100, 1, "WebM Vorbis", 0, 1024, true,
              true, false},
        // Where padding reaches into the last packet but one, this muxer states too little.
        Coded{"Mp3At48000", "a.mp3", "-c:a libmp3lame", 48000, 1, "MP3", 0, 34, true, false, false},
        Coded{"Mp3At44100Stereo", "a.mp3", "-c:a libmp3lame -q:a 4", 44100, 2, "MP3", 0, 0, true,
              false, false},
        Coded{"Mp3At22050", "a.mp3", "-c:a libmp3lame", 22050, 1, "MP3", 0, 0, true, false, false},
        Coded{"Mp3At8000", "a.mp3", "-c:a libmp3lame", 8000, 1, "MP3", 0, 0, true, false, false},
        Coded{"Mp3At16000", "a.mp3", "-c:a libmp3lame", 16000, 1, "MP3", 0, 0, true, false, false},
        // Encoder and decoder together, where no tag tells.
        Coded{"Mp3WithoutATag", "a.mp3", "-c:a libmp3lame -write_xing 0 -id3v2_version 0", 48000, 1,
              "MP3", 1105, 2304, true, false, true},
        // The decoder takes two frames of lead-in for granted, this encoder makes one.
        Coded{"Wma", "a.wma", "-c:a wmav2 -b:a 128k", 44100, 2, "WMA", -2048, 2048, true, true,
              false},
        Coded{"Ac3InMatroska", "a.mkv", "-c:a ac3", 48000, 2, "Matroska AC-3", 256, 1536, true,
              true, true},
        Coded{"Ac3", "a.ac3", "-c:a ac3", 48000, 2, "AC-3", 256, 1536, true, true, true},
        Coded{"Mp3InAvi", "a.avi", "-c:a libmp3lame", 48000, 1, "AVI MP3", 1105, 2304, true, true,
              true},
        Coded{"AacInFlv", "a.flv", "-c:a aac", 44100, 2, "FLV AAC", 1024, 2048, true, true, true},
        Coded{"AacInTransportStream", "a.ts", "-c:a aac", 48000, 2, "MPEG-TS AAC", 1024, 2048, true,
              true, true},
        Coded{"Ac3InCameraStream", "a.mts", "-c:a ac3 -f mpegts -mpegts_m2ts_mode 1", 48000, 2,
              "MPEG-TS AC-3", 256, 1536, true, true, true},
        Coded{"Mp2InProgramStream", "a.mpg", "-c:a mp2", 48000, 2, "MPEG-PS MP2", 481, 2304, true,
              true, true}),
    [](const auto& each) { return each.param.name; });

void patch(const fs::path& file, std::size_t at, const std::string& bytes) {
  std::string all = test::read_text(file);
  ASSERT_LE(at + bytes.size(), all.size());
  all.replace(at, bytes.size(), bytes);
  test::write_text(file, all);
}

std::string big_endian(std::uint32_t value) {
  std::string bytes;
  for (int shift = 24; shift >= 0; shift -= 8) bytes += static_cast<char>(value >> shift);
  return bytes;
}

struct Patched {
  const char* name;
  std::size_t from_data;  // offset of the patch from "data"
  std::string bytes;
};

class WavWithoutASize : public testing::TestWithParam<Patched> {};

TEST_P(WavWithoutASize, IsReadToTheFilesEnd) {
  const test::TemporaryFolder folder;
  const auto source = rumble(48000, 1);
  test::write_sound(folder / "a.wav", source, 48000, SF_FORMAT_WAV | SF_FORMAT_PCM_24);
  const std::size_t data = test::read_text(folder / "a.wav").find("data");
  patch(folder / "a.wav", data + GetParam().from_data, GetParam().bytes);
  const auto heard = read_whole(folder / "a.wav");
  ASSERT_TRUE(heard) << heard.error().what;
  EXPECT_EQ(heard->channels, source);
}

INSTANTIATE_TEST_SUITE_P(All, WavWithoutASize,
                         testing::Values(Patched{"Zero", 4, std::string(4, '\0')},
                                         Patched{"AllOnes", 4, std::string(4, '\xFF')}),
                         [](const auto& each) { return each.param.name; });

TEST(CafWithoutASize, IsReadToTheFilesEndByTheSampleAndIsWhole) {
  const test::TemporaryFolder folder;
  const auto source = rumble(48000, 2);
  test::write_sound(folder / "a.caf", source, 48000, SF_FORMAT_CAF | SF_FORMAT_PCM_24);
  const std::size_t data = test::read_text(folder / "a.caf").find("data");
  patch(folder / "a.caf", data + 4, std::string(8, '\xFF'));
  const auto heard = read_whole(folder / "a.caf");
  ASSERT_TRUE(heard) << heard.error().what;
  EXPECT_EQ(heard->channels, source);
  EXPECT_FALSE(heard->failure);
  EXPECT_FALSE(heard->notes.breaks_off);
  EXPECT_EQ(heard->notes.missing.n, 0);
  EXPECT_EQ(heard->info.claimed_length.n, std::ssize(source[0]));
}

/// Tests of what ffmpeg makes and only its libraries read.
class Containers : public testing::Test {
 protected:
  void SetUp() override {
    if (!test::has_ffmpeg()) GTEST_SKIP() << kNoFfmpeg;
    if (!reads_video_files()) GTEST_SKIP() << kNoLibav;
    source_ = rumble(48000, 1, 3.0);
    test::write_sound(folder_ / "source.wav", source_, 48000);
  }
  void code(const std::string& options, const std::string& to, const std::string& from) {
    ASSERT_TRUE(test::code_with_ffmpeg(folder_ / from, options, folder_ / to));
  }
  /// With a picture of 25 per second whose first stands `delay` seconds before the sound.
  void code_with_picture(const std::string& delay, const std::string& options,
                         const std::string& to) {
    std::vector<std::string> arguments =
        test::words_of("-f lavfi -i color=s=64x48:r=25:d=3 -itsoffset " + delay + " -i");
    arguments.push_back((folder_ / "source.wav").string());
    for (std::string& word : test::words_of(options)) arguments.push_back(std::move(word));
    arguments.push_back((folder_ / to).string());
    ASSERT_TRUE(test::run_ffmpeg(arguments));
  }
  WholeFile whole(const std::string& name) {
    auto heard = read_whole(folder_ / name);
    EXPECT_TRUE(heard) << (heard ? "" : heard.error().what);
    return heard ? *std::move(heard) : WholeFile{};
  }
  std::optional<int> lag(const WholeFile& heard, int from) const {
    if (heard.channels.empty()) return std::nullopt;
    return lag_frames(source_[0], heard.channels[0], from, 4800, 3000);
  }

  test::TemporaryFolder folder_;
  std::vector<Samples> source_;
};

TEST_F(Containers, Bw64IsReadToTheSample) {
  code("-c:a pcm_s24le -rf64 always", "a.wav", "source.wav");
  patch(folder_ / "a.wav", 0, "BW64");
  const WholeFile heard = whole("a.wav");
  EXPECT_EQ(heard.info.format, "BW64 24-bit");
  EXPECT_EQ(heard.channels, source_);
}

TEST_F(Containers, SoundThatStartsAfterThePictureSaysWhen) {
  code_with_picture("0.08", "-c:v mjpeg -c:a pcm_s24le", "a.mov");
  const WholeFile heard = whole("a.mov");
  EXPECT_TRUE(heard.info.has_video);
  EXPECT_DOUBLE_EQ(heard.info.video_fps.value_or(0.0), 25.0);
  EXPECT_NEAR(heard.info.start_in_file_s, 0.080, 1e-9);
  EXPECT_EQ(heard.channels, source_);
}

TEST_F(Containers, LeadInThatStandsBetweenPictureAndSoundCountsAsLateStart) {
  code_with_picture("0.08", "-c:v mpeg4 -c:a aac", "a.mp4");
  const WholeFile heard = whole("a.mp4");
  EXPECT_EQ(heard.info.format, "MP4 AAC");
  EXPECT_TRUE(heard.info.has_lead_in);  // this muxer does not state it where the sound is late
  EXPECT_EQ(lag(heard, 24000), 1024);
  EXPECT_EQ(lag(heard, 120000), 1024);
  // The edit list is rounded to a millisecond.
  EXPECT_NEAR(heard.info.start_in_file_s + 1024.0 / 48000.0, 0.080, 0.001);
}

TEST_F(Containers, SoundThatIsLateAndStatesItsLeadInStartsWithTheSound) {
  code_with_picture("0.08", "-c:v mpeg4 -c:a aac", "a.mp4");
  const std::string bytes = test::read_text(folder_ / "a.mp4");
  // The second edit of the sound's list, which follows an empty one: media time 0 becomes 1024.
  const std::size_t list = bytes.rfind("elst");
  ASSERT_EQ(bytes.substr(list + 16, 4), big_endian(0xFFFFFFFF));
  patch(folder_ / "a.mp4", list + 28, big_endian(1024));
  const WholeFile heard = whole("a.mp4");
  EXPECT_FALSE(heard.info.has_lead_in);
  EXPECT_EQ(lag(heard, 24000), 0);
  EXPECT_EQ(lag(heard, 120000), 0);
}

TEST_F(Containers, AClipCutByItsEditListStartsAtTheCutAndMissesNothing) {
  code("-c:a aac", "a.m4a", "source.wav");
  const std::size_t list = test::read_text(folder_ / "a.m4a").find("elst");
  // One second and a half from 12000 frames on, in milliseconds and frames.
  patch(folder_ / "a.m4a", list + 12, big_endian(1500) + big_endian(1024 + 12000));
  const WholeFile heard = whole("a.m4a");
  const Samples cut(source_[0].begin() + 12000, source_[0].end());
  EXPECT_EQ(lag_frames(cut, heard.channels.at(0), 24000, 9600, 2500), 0);
  EXPECT_GE(heard.frames(), 72000);
  EXPECT_LE(heard.frames(), 72000 + 1100);
  EXPECT_EQ(heard.notes.missing.n, 0);
}

TEST_F(Containers, APictureThatOutlastsTheSoundDoesNotMakeItBreakOff) {
  for (const char* name : {"a.mkv", "a.avi"}) {
    auto arguments = test::words_of("-f lavfi -i color=s=64x48:r=25:d=6 -i");
    arguments.push_back((folder_ / "source.wav").string());
    for (std::string& word : test::words_of("-c:v mjpeg -c:a pcm_s24le"))
      arguments.push_back(std::move(word));
    arguments.push_back((folder_ / name).string());
    ASSERT_TRUE(test::run_ffmpeg(arguments));
    const WholeFile heard = whole(name);
    EXPECT_EQ(heard.channels, source_);
    EXPECT_EQ(heard.notes.missing.n, 0) << name;
    EXPECT_FALSE(heard.notes.breaks_off) << name;
  }
}

/// A FLAC file of which a few frames are spoiled, from a second and a half on.
TEST_F(Containers, AFlacFileGoesOnInTimeBehindDamage) {
  code("-c:a flac -sample_fmt s32", "a.flac", "source.wav");
  std::string bytes = test::read_text(folder_ / "a.flac");
  for (std::size_t i = 0; i < 20000; ++i) bytes[bytes.size() / 2 + i] = static_cast<char>(i * i);
  test::write_text(folder_ / "a.flac", bytes);
  const WholeFile heard = whole("a.flac");
  ASSERT_EQ(heard.frames(), std::ssize(source_[0]));
  EXPECT_EQ(lag(heard, 24000), 0);
  EXPECT_EQ(lag(heard, 120000), 0);
  EXPECT_GE(heard.notes.jump_count, 1);
  EXPECT_FALSE(heard.failure);
}

std::string atom(const std::string& name, const std::string& content) {
  return big_endian(static_cast<std::uint32_t>(content.size() + 8)) + name + content;
}

/// Puts a tag into an MP4 file whose index stands last, as a phone's recorder does, that says how
/// many frames of lead-in there are.
void add_lead_in_tag(const fs::path& file, std::uint32_t lead_in_frames) {
  const std::string none(4, '\0');
  std::ostringstream numbers;
  numbers << std::hex << std::uppercase << std::setfill('0') << " 00000000 " << std::setw(8)
          << lead_in_frames << " 00000000 0000000000023293";
  const std::string item = atom("mean", none + "com.apple.iTunes") +
                           atom("name", none + "iTunSMPB") +
                           atom("data", big_endian(1) + none + numbers.str());
  const std::string handler = atom("hdlr", none + none + "mdirappl" + std::string(9, '\0'));
  const std::string tags =
      atom("udta", atom("meta", none + handler + atom("ilst", atom("----", item))));
  std::string bytes = test::read_text(file);
  const std::size_t index = bytes.rfind("moov") - 4;
  bytes.replace(index, 4,
                big_endian(static_cast<std::uint32_t>(bytes.size() - index + tags.size())));
  test::write_text(file, bytes + tags);
}

TEST_F(Containers, ATagStatesTheLeadInWhereNoEditListDoes) {
  code("-c:a aac -use_editlist 0", "a.m4a", "source.wav");
  EXPECT_EQ(lag(whole("a.m4a"), 24000), 1024);
  add_lead_in_tag(folder_ / "a.m4a", 1024);
  const WholeFile heard = whole("a.m4a");
  EXPECT_EQ(lag(heard, 24000), 0);
  EXPECT_FALSE(heard.info.has_lead_in);
}

TEST_F(Containers, ALeadInThatIsStatedTwiceIsCutOnce) {
  code("-c:a aac", "a.m4a", "source.wav");
  add_lead_in_tag(folder_ / "a.m4a", 1024);
  EXPECT_EQ(lag(whole("a.m4a"), 24000), 0);
}

TEST_F(Containers, ACoverIsNoPicture) {
  ASSERT_TRUE(test::run_ffmpeg(test::words_of("-f lavfi -i color=s=64x48:d=1 -frames:v 1 " +
                                              (folder_ / "cover.jpg").string())));
  code("-i " + (folder_ / "cover.jpg").string() +
           " -map 0:a -map 1:v -c:a aac -c:v mjpeg -disposition:v attached_pic",
       "a.m4a", "source.wav");
  const WholeFile heard = whole("a.m4a");
  EXPECT_FALSE(heard.info.has_video);
  EXPECT_EQ(lag(heard, 24000), 0);
}

struct GapCase {
  const char* name;
  const char* file;
  const char* options;
  int gap_frames;
};

class PacketsLost : public Containers, public testing::WithParamInterface<GapCase> {};

// Fifteen packets from the sixtieth on are taken out; what follows keeps its time stamps.
TEST_P(PacketsLost, BecomeSilenceAndWhatFollowsStaysInTime) {
  const GapCase& row = GetParam();
  code(row.options, std::string("whole-") + row.file, "source.wav");
  code("-c copy -strict -2 -bsf:a noise=amount=0:drop='gte(n\\,60)*lt(n\\,75)'", row.file,
       std::string("whole-") + row.file);
  const WholeFile unharmed = whole(std::string("whole-") + row.file);
  const WholeFile heard = whole(row.file);
  EXPECT_EQ(heard.frames(), unharmed.frames());
  ASSERT_EQ(heard.notes.jumps.size(), 1U);
  const StampJump& jump = heard.notes.jumps[0];
  EXPECT_EQ(jump.put_in.n, row.gap_frames);
  EXPECT_EQ(heard.notes.put_in.n, row.gap_frames);
  const auto& sound = heard.channels.at(0);
  for (std::int64_t i = jump.at.n; i < jump.at.n + jump.put_in.n; ++i)
    ASSERT_EQ(sound[static_cast<std::size_t>(i)], 0.0F) << i;
  EXPECT_EQ(lag(heard, 24000), 0);
  EXPECT_EQ(lag(heard, static_cast<int>(jump.at.n + jump.put_in.n) + 4800), 0);
}

INSTANTIATE_TEST_SUITE_P(All, PacketsLost,
                         testing::Values(GapCase{"OfOpusInWebm", "a.webm", "-c:a libopus", 14400},
                                         GapCase{"OfOpusInMp4", "a.mp4", "-c:a libopus -strict -2",
                                                 14400},
                                         GapCase{"OfAacInM4a", "a.m4a", "-c:a aac", 15360}),
                         [](const auto& each) { return each.param.name; });

TEST_F(Containers, StampsThatStrayChangeNothing) {
  code("-c:a libopus", "whole.webm", "source.wav");
  // One stamp 15 ms late, and all of them running 2000 ppm fast, as from another clock.
  code("-c copy -bsf:a setts=ts='PTS*1.002+15*eq(N\\,60)'", "stray.webm", "whole.webm");
  const WholeFile heard = whole("stray.webm");
  EXPECT_EQ(heard.notes.jump_count, 0);
  EXPECT_EQ(heard.channels, whole("whole.webm").channels);
}

TEST_F(Containers, SoundThatCameTwiceIsLeftOutOnce) {
  code("-c:a libopus", "whole.webm", "source.wav");
  // From the sixtieth packet on the stamps say that the sound was there before.
  code("-c copy -bsf:a setts=ts='PTS-60*gte(N\\,60)'", "twice.webm", "whole.webm");
  const WholeFile heard = whole("twice.webm");
  EXPECT_NEAR(static_cast<double>(heard.notes.left_out.n), 2880.0, 48.0);  // stamps tell 1 ms
  EXPECT_EQ(heard.notes.put_in.n, 0);
  EXPECT_EQ(heard.frames() + heard.notes.left_out.n, std::ssize(source_[0]));
  EXPECT_EQ(lag(heard, 100000), -static_cast<int>(heard.notes.left_out.n));
}

TEST_F(Containers, ALeapThatNothingBearsOutEndsTheFile) {
  code("-c:a libopus", "whole.webm", "source.wav");
  code("-c copy -bsf:a setts=ts='PTS+36000000*gte(N\\,60)'", "leap.webm", "whole.webm");
  const WholeFile heard = whole("leap.webm");
  ASSERT_TRUE(heard.failure);
  EXPECT_NE(heard.failure->what.find("time stamps leap"), std::string::npos) << heard.failure->what;
  EXPECT_LT(heard.frames(), 3 * 48000);
}

TEST_F(Containers, SoundThatIsNotReadIsCounted) {
  code("-map 0:a -map 0:a -c:a aac", "two.mp4", "source.wav");
  EXPECT_EQ(whole("two.mp4").info.further_sounds, 1);
}

struct CutCase {
  const char* name;
  const char* file;
  const char* options;
  bool header_claims;  // the length, so that what is missing is known
};

class CutFile : public Containers, public testing::WithParamInterface<CutCase> {};

TEST_P(CutFile, IsReadAsFarAsItGoesAndSaysSo) {
  const CutCase& row = GetParam();
  code(row.options, row.file, "source.wav");
  const WholeFile before = whole(row.file);
  fs::resize_file(folder_ / row.file, fs::file_size(folder_ / row.file) * 6 / 10);
  const WholeFile heard = whole(row.file);
  EXPECT_GT(heard.frames(), 48000 / 2);
  EXPECT_LT(heard.frames(), before.frames() * 7 / 10);
  EXPECT_EQ(heard.notes.missing.n > 0, row.header_claims);
  EXPECT_TRUE(heard.notes.missing.n > 0 || heard.notes.breaks_off);
  for (std::size_t i = 0; i < 24000; ++i)
    ASSERT_EQ(heard.channels.at(0)[i], before.channels.at(0)[i]) << i;
}

INSTANTIATE_TEST_SUITE_P(
    All, CutFile,
    testing::Values(CutCase{"Vorbis", "a.ogg", "-c:a libvorbis -page_duration 100000", false},
                    CutCase{"Opus", "a.opus", "-c:a libopus -page_duration 100000", false},
                    CutCase{"Flac", "a.flac", "-c:a flac", true},
                    CutCase{"Mp3", "a.mp3", "-c:a libmp3lame", true},
                    CutCase{"Caf", "a.caf", "-c:a pcm_s24be", false},
                    CutCase{"Webm", "a.webm", "-c:a libopus", true},
                    CutCase{"Matroska", "a.mkv", "-c:a aac", true},
                    CutCase{"M4aWithItsIndexFirst", "a.m4a", "-c:a aac -movflags faststart", true},
                    CutCase{"Adts", "a.aac", "-c:a aac", false}),
    [](const auto& each) { return each.param.name; });

TEST_F(Containers, AnMp4WithoutItsIndexSaysWhatThatMeans) {
  code("-c:a aac", "a.m4a", "source.wav");
  fs::resize_file(folder_ / "a.m4a", fs::file_size(folder_ / "a.m4a") * 6 / 10);
  const auto heard = read_whole(folder_ / "a.m4a");
  ASSERT_FALSE(heard);
  EXPECT_EQ(heard.error().what.find("it begins like M4A but cannot be read"), 0U);
  EXPECT_NE(heard.error().next_step.find("was not ended"), std::string::npos);
}

class DamagedInside : public Containers, public testing::WithParamInterface<CutCase> {};

// Three thousand bytes amid the file are overwritten.
TEST_P(DamagedInside, StaysInTimeAfterTheDamage) {
  const CutCase& row = GetParam();
  code(row.options, row.file, "source.wav");
  const std::size_t size = fs::file_size(folder_ / row.file);
  std::string garbage;
  for (const float x : test::noise(3000, 120.0F, 5)) garbage += static_cast<char>(x);
  patch(folder_ / row.file, size / 2, garbage);
  const WholeFile heard = whole(row.file);
  EXPECT_GT(heard.notes.put_in.n, 0);
  EXPECT_EQ(heard.frames(), std::ssize(source_[0]));
  EXPECT_EQ(lag(heard, 24000), 0);
  EXPECT_EQ(lag(heard, 130000), 0);
}

INSTANTIATE_TEST_SUITE_P(
    All, DamagedInside,
    testing::Values(CutCase{"Vorbis", "a.ogg", "-c:a libvorbis -page_duration 100000", true},
                    CutCase{"Opus", "a.opus", "-c:a libopus -page_duration 100000", true}),
    [](const auto& each) { return each.param.name; });

TEST(AmrFile, IsReadAtItsOwnRate) {
  if (!reads_video_files()) GTEST_SKIP() << kNoLibav;
  const test::TemporaryFolder folder;
  // RFC 4867: frames of 20 ms at 12.2 kbit/s, each a byte of header and 31 of speech.
  std::string bytes = "#!AMR\n";
  for (int frame = 0; frame < 50; ++frame) bytes += '\x3C' + std::string(31, '\0');
  test::write_text(folder / "a.amr", bytes);
  const auto heard = read_whole(folder / "a.amr");
  ASSERT_TRUE(heard) << heard.error().what;
  EXPECT_EQ(heard->info.format, "AMR");
  EXPECT_EQ(heard->info.rate.hz, 8000.0);
  EXPECT_EQ(heard->frames(), 8000);
}

TEST(BuildWithoutFfmpegsLibraries, SaysHowToReadAnMp4) {
  if (reads_video_files()) GTEST_SKIP() << "this build has them";
  const test::TemporaryFolder folder;
  test::write_text(folder / "a.mp4",
                   std::string("\0\0\0\x20", 4) + "ftypisom" + std::string(64, ' '));
  const auto heard = read_whole(folder / "a.mp4");
  ASSERT_FALSE(heard);
  EXPECT_EQ(heard.error().what, "it is MP4, which this build of kilter does not read");
  EXPECT_NE(heard.error().next_step.find("libavformat-dev"), std::string::npos);
}

}  // namespace
}  // namespace kilter::media
