#include <gtest/gtest.h>
#include <sndfile.h>

#include <array>
#include <cstring>
#include <fstream>
#include <random>
#include <set>
#include <vector>

#include "kilter/base/file_calls.h"
#include "kilter/base/file_output.h"
#include "kilter/media/audio_file.h"
#include "kilter/media/audio_writer.h"
#include "riff_reader.h"
#include "sound_sink.h"
#include "support/replaced_file_calls.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::media {
namespace {

namespace fs = std::filesystem;

constexpr std::int64_t kRiffLimit =
    (std::int64_t{1} << 32) + 6;  // an even size below 2^32 - 1, + 8

WriterOptions options_of(Container container, SampleFormat format = SampleFormat::pcm24,
                         int channels = 1) {
  WriterOptions options;
  options.rate = {48000.0};
  options.channels = channels;
  options.format = format;
  options.container = container;
  return options;
}

int bytes_of(SampleFormat format) {
  return format == SampleFormat::pcm16 ? 2 : format == SampleFormat::pcm24 ? 3 : 4;
}

void write_file(const fs::path& file, const WriterOptions& options, const std::vector<float>& sound,
                Rounding rounding = Rounding::exact, std::size_t block_frames = 1 << 20) {
  const std::size_t block = block_frames * static_cast<std::size_t>(options.channels);
  auto writer = AudioWriter::create(file, options);
  ASSERT_TRUE(writer);
  for (std::size_t at = 0; at < sound.size(); at += block)
    ASSERT_TRUE(
        writer->write(std::span(sound).subspan(at, std::min(block, sound.size() - at)), rounding));
  ASSERT_TRUE(writer->finish());
}

TEST(PlainWav, HasTheVeryBytesThatLibsndfileWrites) {
  const test::TemporaryFolder folder;
  for (const int channels : {1, 2, 3}) {
    for (const bool is_16 : {true, false}) {
      const std::vector<float> sound(static_cast<std::size_t>(7 * channels), -0.375F);
      write_file(
          folder / "a.wav",
          options_of(Container::wav, is_16 ? SampleFormat::pcm16 : SampleFormat::pcm24, channels),
          sound);
      SF_INFO info{};
      info.samplerate = 48000;
      info.channels = channels;
      info.format = SF_FORMAT_WAV | (is_16 ? SF_FORMAT_PCM_16 : SF_FORMAT_PCM_24);
      SNDFILE* handle = sf_open((folder / "b.wav").c_str(), SFM_WRITE, &info);
      const std::vector<int> integers(sound.size(), -0x30000000);
      sf_writef_int(handle, integers.data(), 7);
      sf_close(handle);
      EXPECT_EQ(test::read_text(folder / "a.wav"), test::read_text(folder / "b.wav"));
    }
  }
}

TEST(FloatWav, StatesFormatAndFramesAsEveryFormatButPcmShall) {
  const test::TemporaryFolder folder;
  write_file(folder / "a.wav", options_of(Container::wav, SampleFormat::float32, 2), {0.5F, -0.5F});
  const test::RiffFile riff = test::read_riff(folder / "a.wav");
  EXPECT_TRUE(riff.ends_at_its_size);
  EXPECT_EQ(riff.ids(), (std::vector<std::string>{"fmt ", "fact", "data"}));
  const std::string format = riff.bytes_of("fmt ");
  ASSERT_EQ(format.size(), 18U);
  EXPECT_EQ(test::number_at(format, 0, 2), 3U);
  EXPECT_EQ(test::number_at(format, 16, 2), 0U);
  EXPECT_EQ(test::number_at(riff.bytes_of("fact"), 0, 4), 1U);
}

struct Written {
  const char* name;
  Container container;
  SampleFormat format;
  int channels;
  int sndfile_format;
};

class WrittenContainer : public testing::TestWithParam<Written> {
 protected:
  WriterOptions options() const {
    return options_of(GetParam().container, GetParam().format, GetParam().channels);
  }
  static std::vector<float> sound(std::size_t samples) { return test::noise(samples, 0.9F, 4); }
  const test::TemporaryFolder folder;
};

TEST_P(WrittenContainer, IsReadAgainAsTheWriterTold) {
  const auto frames = std::size_t{10007};
  const auto samples = sound(frames * static_cast<std::size_t>(GetParam().channels));
  auto writer = AudioWriter::create(folder / "a", options());
  ASSERT_TRUE(writer);
  ASSERT_TRUE(writer->write(samples, Rounding::dithered));
  const std::vector<float> told(writer->latest_as_read().begin(), writer->latest_as_read().end());
  ASSERT_TRUE(writer->finish());
  SF_INFO info{};
  SNDFILE* handle = sf_open((folder / "a").c_str(), SFM_READ, &info);
  ASSERT_NE(handle, nullptr);
  EXPECT_EQ(info.format, GetParam().sndfile_format);
  EXPECT_EQ(info.frames, frames);
  EXPECT_EQ(info.channels, GetParam().channels);
  EXPECT_EQ(info.samplerate, 48000);
  std::vector<float> read(samples.size());
  EXPECT_EQ(sf_readf_float(handle, read.data(), info.frames), info.frames);
  sf_close(handle);
  EXPECT_EQ(read, told);
}

TEST_P(WrittenContainer, HoldsTheSameBytesForAnySizesOfBlocks) {
  const auto samples = sound(std::size_t{20000} * static_cast<std::size_t>(GetParam().channels));
  write_file(folder / "whole", options(), samples, Rounding::dithered);
  const std::string whole = test::read_text(folder / "whole");
  for (const std::size_t block : {1U, 511U, 4097U}) {
    write_file(folder / "blocks", options(), samples, Rounding::dithered, block);
    EXPECT_EQ(test::read_text(folder / "blocks"), whole) << block;
  }
}

TEST_P(WrittenContainer, DitherIsHeardInIntegersOnly) {
  const auto samples = sound(3000 * static_cast<std::size_t>(GetParam().channels));
  WriterOptions other = options();
  other.dither_seed = 1;
  write_file(folder / "plain", options(), samples);
  write_file(folder / "dithered", options(), samples, Rounding::dithered);
  write_file(folder / "other", other, samples, Rounding::dithered);
  std::set<std::string> contents;
  for (const char* name : {"plain", "dithered", "other"})
    contents.insert(test::read_text(folder / name));
  EXPECT_EQ(contents.size(), GetParam().format == SampleFormat::float32 ? 1U : 3U);
}

TEST_P(WrittenContainer, MayBeEmpty) {
  write_file(folder / "a", options(), {});
  SF_INFO info{};
  SNDFILE* handle = sf_open((folder / "a").c_str(), SFM_READ, &info);
  ASSERT_NE(handle, nullptr) << sf_strerror(nullptr);
  std::vector<float> frame(static_cast<std::size_t>(GetParam().channels));
  EXPECT_EQ(sf_readf_float(handle, frame.data(), 1), 0);
  sf_close(handle);
}

INSTANTIATE_TEST_SUITE_P(
    All, WrittenContainer,
    testing::Values(
        Written{"Wav16", Container::wav, SampleFormat::pcm16, 2, SF_FORMAT_WAV | SF_FORMAT_PCM_16},
        Written{"Wav24", Container::wav, SampleFormat::pcm24, 1, SF_FORMAT_WAV | SF_FORMAT_PCM_24},
        Written{"WavFloat", Container::wav, SampleFormat::float32, 3,
                SF_FORMAT_WAV | SF_FORMAT_FLOAT},
        Written{"Rf64With16Bits", Container::rf64, SampleFormat::pcm16, 1,
                SF_FORMAT_RF64 | SF_FORMAT_PCM_16},
        Written{"Rf64With24Bits", Container::rf64, SampleFormat::pcm24, 3,
                SF_FORMAT_RF64 | SF_FORMAT_PCM_24},
        Written{"Rf64WithFloat", Container::rf64, SampleFormat::float32, 1,
                SF_FORMAT_RF64 | SF_FORMAT_FLOAT},
        Written{"Flac16", Container::flac, SampleFormat::pcm16, 2,
                SF_FORMAT_FLAC | SF_FORMAT_PCM_16},
        Written{"Flac24", Container::flac, SampleFormat::pcm24, 8,
                SF_FORMAT_FLAC | SF_FORMAT_PCM_24}),
    [](const auto& each) { return each.param.name; });

TEST(RiffSizes, AgreeToTheByteAfterAnOddNumberOfBytesToo) {
  const test::TemporaryFolder folder;
  for (const Container container : {Container::wav, Container::rf64})
    for (const SampleFormat format :
         {SampleFormat::pcm16, SampleFormat::pcm24, SampleFormat::float32})
      for (const std::size_t frames : {0U, 1U, 2U, 9999U}) {
        write_file(folder / "a", options_of(container, format, 3), std::vector<float>(frames * 3));
        const test::RiffFile riff = test::read_riff(folder / "a");
        EXPECT_TRUE(riff.ends_at_its_size) << frames;
        EXPECT_EQ(riff.form, container == Container::wav ? "RIFF" : "RF64");
        EXPECT_EQ(riff.chunks.back().id, "data");
        EXPECT_EQ(riff.chunks.back().size, frames * 3U * static_cast<unsigned>(bytes_of(format)));
        EXPECT_EQ(riff.sample_count, container == Container::rf64 ? frames : 0U);
      }
}

/// `count` cues, each of which takes 74 bytes of a file.
BroadcastNotes notes_with_cues(int count) {
  BroadcastNotes notes;
  notes.cues.assign(static_cast<std::size_t>(count),
                    {{1}, "a marker with a name of just a length"});
  return notes;
}

// What the header and the notes take is measured at a real file, not asked of the writer.
TEST(LongestFile, FillsWavButFor64KibibytesOrWhatTheNotesTake) {
  const test::TemporaryFolder folder;
  for (const SampleFormat format :
       {SampleFormat::pcm16, SampleFormat::pcm24, SampleFormat::float32})
    for (const int channels : {1, 2, 3, 7})
      for (const int cues : {-1, 0, 3, 870, 900, 901, 902, 5000}) {
        WriterOptions options = options_of(Container::wav, format, channels);
        if (cues >= 0) options.notes = notes_with_cues(cues);
        const std::int64_t frame_bytes = std::int64_t{channels} * bytes_of(format);
        write_file(folder / "a.wav", options,
                   std::vector<float>(static_cast<std::size_t>(channels) * 2));
        const std::int64_t beside =
            static_cast<std::int64_t>(fs::file_size(folder / "a.wav")) - 2 * frame_bytes;
        const auto fits = [&](std::int64_t frames) {
          const std::int64_t sound = frames * frame_bytes;
          return sound <= (std::int64_t{1} << 32) - 65536 &&
                 beside + sound + sound % 2 <= kRiffLimit;
        };
        const Frames longest = longest_file(options);
        EXPECT_TRUE(fits(longest.n)) << cues;
        EXPECT_FALSE(fits(longest.n + 1)) << cues;
        EXPECT_EQ(container_for(options, longest), Container::wav);
        EXPECT_EQ(container_for(options, {longest.n + 1}), Container::rf64);
      }
}

TEST(LongestFile, OfTheOthersIsFarAway) {
  EXPECT_EQ(longest_file(options_of(Container::flac)).n, 68719476735);
  EXPECT_EQ(longest_file(options_of(Container::rf64, SampleFormat::pcm16, 2)).n,
            (std::int64_t{1} << 53) / 4);
}

TEST(ContainerFor, KeepsWhatWasChosenBesideWav) {
  const Frames a_week{std::int64_t{48000} * 86400 * 7};
  EXPECT_EQ(container_for(options_of(Container::wav), {48000}), Container::wav);
  EXPECT_EQ(container_for(options_of(Container::wav), a_week), Container::rf64);
  EXPECT_EQ(container_for(options_of(Container::rf64), {48000}), Container::rf64);
  EXPECT_EQ(container_for(options_of(Container::flac), a_week), Container::flac);
}

struct RefusedShape {
  const char* name;
  Container container;
  SampleFormat format;
  int channels;
  double rate_hz;
  const char* what;  // empty: it is written
};

class Shape : public testing::TestWithParam<RefusedShape> {};

// Those that are not refused are written and read again: the library has the last word.
TEST_P(Shape, IsRefusedInOneSentenceOrWritten) {
  const RefusedShape& row = GetParam();
  const test::TemporaryFolder folder;
  WriterOptions options = options_of(row.container, row.format, row.channels);
  options.rate = {row.rate_hz};
  const auto told = refusal(options, folder / "a");
  ASSERT_EQ(told.has_value(), row.what[0] != '\0');
  if (told) {
    EXPECT_EQ(told->kind, ErrorKind::cannot_write);
    EXPECT_EQ(told->file, folder / "a");
    EXPECT_NE(told->what.find(row.what), std::string::npos) << told->what;
    EXPECT_FALSE(told->next_step.empty());
    EXPECT_FALSE(AudioWriter::create(folder / "a", options));
    EXPECT_TRUE(fs::is_empty(folder.path()));
    return;
  }
  write_file(folder / "a", options,
             std::vector<float>(static_cast<std::size_t>(row.channels) * 20));
  SF_INFO info{};
  SNDFILE* handle = sf_open((folder / "a").c_str(), SFM_READ, &info);
  ASSERT_NE(handle, nullptr);
  sf_close(handle);
  EXPECT_EQ(info.frames, 20);
  EXPECT_EQ(info.samplerate, row.rate_hz);
  EXPECT_EQ(info.channels, row.channels);
}

constexpr auto kFlac = Container::flac;
constexpr auto kWav = Container::wav;
constexpr auto k16 = SampleFormat::pcm16;
constexpr auto k24 = SampleFormat::pcm24;
constexpr auto kFloat = SampleFormat::float32;

INSTANTIATE_TEST_SUITE_P(
    All, Shape,
    testing::Values(RefusedShape{"FlacOfFloat", kFlac, kFloat, 1, 48000.0, "floating-point"},
                    RefusedShape{"FlacOfNineChannels", kFlac, k24, 9, 48000.0, "8 channels, not 9"},
                    RefusedShape{"FlacOfEightChannels", kFlac, k24, 8, 48000.0, ""},
                    RefusedShape{"FlacAt1", kFlac, k16, 1, 1.0, ""},
                    RefusedShape{"FlacAt65535", kFlac, k24, 1, 65535.0, ""},
                    RefusedShape{"FlacAt65536", kFlac, k24, 1, 65536.0, "65536 Hz"},
                    RefusedShape{"FlacAt88200", kFlac, k24, 2, 88200.0, ""},
                    RefusedShape{"FlacAt96001", kFlac, k24, 1, 96001.0, "96001 Hz"},
                    RefusedShape{"FlacAt192000", kFlac, k16, 1, 192000.0, ""},
                    RefusedShape{"FlacAt655350", kFlac, k24, 1, 655350.0, ""},
                    RefusedShape{"FlacAt655360", kFlac, k24, 1, 655360.0, "655360 Hz"},
                    RefusedShape{"WavAt96001", kWav, k24, 1, 96001.0, ""},
                    RefusedShape{"WavOf1024Channels", kWav, kFloat, 1024, 48000.0, ""},
                    RefusedShape{"WavOf1025Channels", kWav, k16, 1025, 8000.0, "1024 channels"},
                    RefusedShape{"WavOfMoreThan32BitsOfBytes", kWav, kFloat, 1024, 1048576.0,
                                 "bytes a second"},
                    RefusedShape{"ABrokenRate", kWav, k24, 1, 44100.5, "whole number"},
                    RefusedShape{"NoRate", kFlac, k24, 1, 0.0, "whole number"},
                    RefusedShape{"NoChannel", kFlac, k24, 0, 48000.0, "no channel"}),
    [](const auto& each) { return each.param.name; });

/// Writes no blocks of nothing but zeros: the file has holes there.
class SparseCalls : public FileCalls {
 public:
  ssize_t write_at(int descriptor, const void* bytes, std::size_t count, off_t offset) override {
    const char* from = static_cast<const char*>(bytes);
    const bool zero = from[0] == 0 && std::memcmp(from, from + 1, count - 1) == 0;
    return zero ? static_cast<ssize_t>(count)
                : FileCalls::write_at(descriptor, bytes, count, offset);
  }
};

TEST(Rf64, HoldsMoreThanFourGibibytes) {
  const test::TemporaryFolder folder;
  const fs::path file = folder / "a.wav";
  WriterOptions options = options_of(Container::rf64, SampleFormat::float32, 8);
  options.notes = BroadcastNotes{};
  options.notes->cues = {{{123456789}, "the lamp"}};
  const std::vector<std::int32_t> silence(kMostAtOnce, 0);
  const std::vector<std::int32_t> last(8, 0x3F000000);  // one frame of 0.5
  constexpr std::int64_t kBlocks = (std::int64_t{1} << 32) / (kMostAtOnce * 4) + 100;
  constexpr std::int64_t kFrames = kBlocks * static_cast<std::int64_t>(kMostAtOnce) / 8 + 1;
  {
    SparseCalls sparse;
    const test::ReplacedFileCalls replaced(sparse);
    FileOutput output(file);
    const auto sink = make_riff_sink(options, output);
    for (std::int64_t block = 0; block < kBlocks; ++block) ASSERT_TRUE(sink->write(silence));
    ASSERT_TRUE(sink->write(last));
    ASSERT_TRUE(sink->finish({kFrames}));
    ASSERT_TRUE(output.complete());
    ASSERT_TRUE(output.put_in_place());
  }
  const test::RiffFile riff = test::read_riff(file);
  EXPECT_TRUE(riff.ends_at_its_size);
  EXPECT_EQ(riff.sample_count, kFrames);
  EXPECT_EQ(riff.ids(),
            (std::vector<std::string>{"fmt ", "fact", "bext", "iXML", "data", "cue ", "LIST"}));
  EXPECT_EQ(riff.chunks[4].size, static_cast<std::uint64_t>(kFrames) * 32);
  SF_INFO info{};
  SNDFILE* handle = sf_open(file.c_str(), SFM_READ, &info);
  ASSERT_NE(handle, nullptr);
  EXPECT_EQ(info.frames, kFrames);
  EXPECT_EQ(sf_seek(handle, -2, SEEK_END), kFrames - 2);
  std::array<float, 16> end{};
  EXPECT_EQ(sf_readf_float(handle, end.data(), 2), 2);
  sf_close(handle);
  EXPECT_EQ(end[7], 0.0F);
  EXPECT_EQ(end[8], 0.5F);
  EXPECT_EQ(end[15], 0.5F);
}

}  // namespace
}  // namespace kilter::media
