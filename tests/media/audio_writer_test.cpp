#include "kilter/media/audio_writer.h"

#include <gtest/gtest.h>
#include <sndfile.h>
#include <sys/mman.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "kilter/media/audio_file.h"
#include "support/file_size_limit.h"
#include "support/temporary_folder.h"

namespace kilter::media {
namespace {

namespace fs = std::filesystem;

/// What libsndfile finds in a file: its format, and its samples as left-justified integers.
struct Stored {
  SF_INFO info{};
  std::vector<int> integers;
};

Stored read_back(const fs::path& file) {
  Stored stored;
  SNDFILE* handle = sf_open(file.c_str(), SFM_READ, &stored.info);
  if (handle == nullptr) return stored;
  stored.integers.resize(static_cast<std::size_t>(stored.info.frames * stored.info.channels));
  EXPECT_EQ(sf_readf_int(handle, stored.integers.data(), stored.info.frames), stored.info.frames);
  sf_close(handle);
  return stored;
}

std::vector<std::string> names_in(const fs::path& folder) {
  std::vector<std::string> names;
  for (const auto& entry : fs::directory_iterator(folder))
    names.push_back(entry.path().filename().string());
  std::sort(names.begin(), names.end());
  return names;
}

/// Writes and finishes; the samples that were clipped.
std::int64_t write_file(const fs::path& file, const WriterOptions& options,
                        const std::vector<float>& sound) {
  auto writer = AudioWriter::create(file, options);
  EXPECT_TRUE(writer);
  EXPECT_TRUE(writer->write(sound));
  EXPECT_EQ(writer->written().n, std::ssize(sound) / options.channels);
  EXPECT_TRUE(writer->finish());
  return writer->clipped_samples();
}

constexpr float kNan = std::numeric_limits<float>::quiet_NaN();
constexpr float kInfinity = std::numeric_limits<float>::infinity();

struct Quantised {
  const char* name;
  SampleFormat format;
  float sample;    // in steps of the format
  int step_count;  // what the file must hold
  int clipped;
};

class IntegerFormat : public testing::TestWithParam<Quantised> {};

TEST_P(IntegerFormat, RoundsToNearestAndSaturates) {
  const Quantised& row = GetParam();
  const int bits = row.format == SampleFormat::pcm16 ? 16 : 24;
  const test::TemporaryFolder folder;
  const float sample = std::ldexp(row.sample, 1 - bits);
  const auto clipped = write_file(folder / "a.wav", {{48000.0}, 1, row.format}, {sample});
  EXPECT_EQ(clipped, row.clipped);
  const Stored stored = read_back(folder / "a.wav");
  ASSERT_EQ(stored.integers.size(), 1U);
  EXPECT_EQ(stored.integers[0] / (1 << (32 - bits)), row.step_count);
  EXPECT_EQ(stored.integers[0] % (1 << (32 - bits)), 0);
}

INSTANTIATE_TEST_SUITE_P(
    All, IntegerFormat,
    testing::Values(
        Quantised{"A24BitStep", SampleFormat::pcm24, 1.0F, 1, 0},
        Quantised{"JustAboveHalf", SampleFormat::pcm24, 0.7F, 1, 0},
        Quantised{"JustBelowHalf", SampleFormat::pcm24, 0.3F, 0, 0},
        Quantised{"NegativeIsNotFloored", SampleFormat::pcm24, -0.3F, 0, 0},
        Quantised{"NegativeRoundsToNearest", SampleFormat::pcm24, -0.7F, -1, 0},
        Quantised{"LargestPositive", SampleFormat::pcm24, 8388607.0F, 8388607, 0},
        Quantised{"FullScaleIsAStepLowerAndNoClipping", SampleFormat::pcm24, 8388608.0F, 8388607,
                  0},
        Quantised{"AStepBeyondFullScaleSaturates", SampleFormat::pcm24, 8388609.0F, 8388607, 1},
        Quantised{"LargestNegativeIsNoClipping", SampleFormat::pcm24, -8388608.0F, -8388608, 0},
        Quantised{"FarBeyondDoesNotWrap", SampleFormat::pcm24, 4e7F, 8388607, 1},
        Quantised{"FarBelowDoesNotWrap", SampleFormat::pcm24, -4e7F, -8388608, 1},
        Quantised{"InfinitySaturates", SampleFormat::pcm24, kInfinity, 8388607, 1},
        Quantised{"NotANumberIsSilence", SampleFormat::pcm24, kNan, 0, 0},
        Quantised{"A16BitStep", SampleFormat::pcm16, 1.0F, 1, 0},
        Quantised{"SixteenBitsRoundToNearest", SampleFormat::pcm16, -1234.6F, -1235, 0},
        Quantised{"SixteenBitsFullScale", SampleFormat::pcm16, 32768.0F, 32767, 0},
        Quantised{"SixteenBitsSaturate", SampleFormat::pcm16, 40000.0F, 32767, 1},
        Quantised{"SixteenBitsNotANumber", SampleFormat::pcm16, kNan, 0, 0}),
    [](const auto& each) { return each.param.name; });

struct Header {
  const char* name;
  SampleFormat format;
  double rate_hz;
  int channels;
  int subtype;
};

class WrittenHeader : public testing::TestWithParam<Header> {};

TEST_P(WrittenHeader, HoldsRateChannelsAndFormat) {
  const Header& row = GetParam();
  const test::TemporaryFolder folder;
  const std::vector<float> sound(static_cast<std::size_t>(300 * row.channels), 0.25F);
  write_file(folder / "a.wav", {{row.rate_hz}, row.channels, row.format}, sound);
  const Stored stored = read_back(folder / "a.wav");
  EXPECT_EQ(stored.info.frames, 300);
  EXPECT_EQ(stored.info.samplerate, row.rate_hz);
  EXPECT_EQ(stored.info.channels, row.channels);
  EXPECT_EQ(stored.info.format, SF_FORMAT_WAV | row.subtype);
  EXPECT_EQ(names_in(folder.path()), std::vector<std::string>{"a.wav"});
}

INSTANTIATE_TEST_SUITE_P(
    All, WrittenHeader,
    testing::Values(Header{"Mono24At48000", SampleFormat::pcm24, 48000.0, 1, SF_FORMAT_PCM_24},
                    Header{"Stereo16At44100", SampleFormat::pcm16, 44100.0, 2, SF_FORMAT_PCM_16},
                    Header{"MonoFloatAt96000", SampleFormat::float32, 96000.0, 1, SF_FORMAT_FLOAT}),
    [](const auto& each) { return each.param.name; });

TEST(AudioWriter, FloatKeepsEveryBitButWritesNoNonNumbers) {
  const test::TemporaryFolder folder;
  const std::vector<float> sound{0.1F, -1.75F, kNan, kInfinity, -kInfinity, 1e-30F};
  EXPECT_EQ(write_file(folder / "a.wav", {{48000.0}, 1, SampleFormat::float32}, sound), 0);
  SF_INFO info{};
  SNDFILE* handle = sf_open((folder / "a.wav").c_str(), SFM_READ, &info);
  ASSERT_NE(handle, nullptr);
  std::vector<float> back(sound.size());
  EXPECT_EQ(sf_readf_float(handle, back.data(), std::ssize(back)), std::ssize(sound));
  sf_close(handle);
  EXPECT_EQ(back, (std::vector<float>{0.1F, -1.75F, 0.0F, 0.0F, 0.0F, 1e-30F}));
}

TEST(AudioWriter, TellsWhatAReaderWillFind) {
  const test::TemporaryFolder folder;
  const std::vector<float> sound{0.1F, -0.3F, 1.5F, -2.0F, kNan, 1e-7F};
  for (const SampleFormat format :
       {SampleFormat::pcm16, SampleFormat::pcm24, SampleFormat::float32}) {
    auto writer = AudioWriter::create(folder / "a.wav", {{48000.0}, 1, format});
    ASSERT_TRUE(writer);
    ASSERT_TRUE(writer->write(sound));
    const auto told = writer->latest_as_read();
    const std::vector<float> expected(told.begin(), told.end());
    ASSERT_TRUE(writer->finish());
    const auto audio = open_audio(folder / "a.wav");
    ASSERT_TRUE(audio);
    std::vector<float> read(sound.size());
    ASSERT_TRUE(audio->source->read(read));
    EXPECT_EQ(read, expected) << static_cast<int>(format);
  }
}

TEST(AudioWriter, TheSameFramesGiveTheSameBytesWithoutATimeOfDay) {
  const test::TemporaryFolder folder;
  const std::vector<float> sound(1000, 0.5F);
  write_file(folder / "a.wav", {{48000.0}, 1, SampleFormat::float32}, sound);
  write_file(folder / "b.wav", {{48000.0}, 1, SampleFormat::float32}, sound);
  const std::string bytes = test::read_text(folder / "a.wav");
  EXPECT_EQ(bytes, test::read_text(folder / "b.wav"));
  EXPECT_EQ(bytes.find("PEAK"), std::string::npos);
}

TEST(AudioWriter, NothingStandsUnderTheNameBeforeFinish) {
  const test::TemporaryFolder folder;
  auto writer = AudioWriter::create(folder / "a.wav", {{48000.0}});
  ASSERT_TRUE(writer);
  ASSERT_TRUE(writer->write(std::vector<float>(100, 0.5F)));
  EXPECT_EQ(names_in(folder.path()), std::vector<std::string>{"a.wav.part"});
  ASSERT_TRUE(writer->finish());
  EXPECT_EQ(names_in(folder.path()), std::vector<std::string>{"a.wav"});
}

TEST(AudioWriter, EndedBeforeItIsFinishedTheFileIsTheSame) {
  for (const Container container : {Container::wav, Container::flac}) {
    const test::TemporaryFolder folder;
    WriterOptions options;
    options.rate = {48000.0};
    options.container = container;
    const std::vector<float> sound(100000, 0.25F);
    write_file(folder / "at-once", options, sound);
    auto writer = AudioWriter::create(folder / "later", options);
    ASSERT_TRUE(writer && writer->write(sound) && writer->end());
    EXPECT_EQ(names_in(folder / ""), (std::vector<std::string>{"at-once", "later.part"}));
    ASSERT_TRUE(writer->end());
    ASSERT_TRUE(writer->finish());
    EXPECT_EQ(test::read_text(folder / "later"), test::read_text(folder / "at-once"));
  }
}

TEST(AudioWriter, AbandonedItLeavesTheFolderAsItWas) {
  const test::TemporaryFolder folder;
  test::write_text(folder / "a.wav", "an earlier file");
  {
    auto writer = AudioWriter::create(folder / "a.wav", {{48000.0}});
    ASSERT_TRUE(writer);
    ASSERT_TRUE(writer->write(std::vector<float>(100, 0.5F)));
    const AudioWriter moved = *std::move(writer);
  }
  EXPECT_EQ(names_in(folder.path()), std::vector<std::string>{"a.wav"});
  EXPECT_EQ(test::read_text(folder / "a.wav"), "an earlier file");
}

TEST(AudioWriter, FinishReplacesAnEarlierFile) {
  const test::TemporaryFolder folder;
  test::write_text(folder / "a.wav", "an earlier file");
  write_file(folder / "a.wav", {{48000.0}}, std::vector<float>(100, 0.5F));
  EXPECT_EQ(read_back(folder / "a.wav").info.frames, 100);
}

TEST(AudioWriter, AFolderUnderTheNameIsAnErrorOfFinish) {
  const test::TemporaryFolder folder;
  fs::create_directory(folder / "a.wav");
  {
    auto writer = AudioWriter::create(folder / "a.wav", {{48000.0}});
    ASSERT_TRUE(writer);
    const auto finished = writer->finish();
    ASSERT_FALSE(finished);
    EXPECT_EQ(finished.error().kind, ErrorKind::cannot_write);
  }
  EXPECT_EQ(names_in(folder.path()), std::vector<std::string>{"a.wav"});
}

struct Refused {
  const char* name;
  const char* file;
  double rate_hz;
  int channels;
};

class RefusedFile : public testing::TestWithParam<Refused> {};

TEST_P(RefusedFile, IsOneClearErrorAndLeavesNothing) {
  const Refused& row = GetParam();
  const test::TemporaryFolder folder;
  test::write_text(folder / "file", "text");
  const auto writer = AudioWriter::create(folder / row.file, {{row.rate_hz}, row.channels});
  ASSERT_FALSE(writer);
  EXPECT_EQ(writer.error().kind, ErrorKind::cannot_write);
  EXPECT_EQ(writer.error().file, folder / row.file);
  EXPECT_FALSE(writer.error().what.empty());
  EXPECT_FALSE(writer.error().next_step.empty());
  EXPECT_EQ(names_in(folder.path()), std::vector<std::string>{"file"});
}

INSTANTIATE_TEST_SUITE_P(All, RefusedFile,
                         testing::Values(Refused{"MissingFolder", "missing/a.wav", 48000.0, 1},
                                         Refused{"BelowAFile", "file/a.wav", 48000.0, 1},
                                         Refused{"ABrokenRate", "a.wav", 44100.5, 1},
                                         Refused{"NoRate", "a.wav", 0.0, 1},
                                         Refused{"NoChannel", "a.wav", 48000.0, 0}),
                         [](const auto& each) { return each.param.name; });

TEST(AudioWriter, AFullDiskIsHeardAndLeavesNothing) {
  const test::TemporaryFolder folder;
  {
    const test::FileSizeLimit limit(20000);
    auto writer = AudioWriter::create(folder / "a.wav", {{48000.0}});
    ASSERT_TRUE(writer);
    Result<void> written;
    for (int block = 0; block < 1000 && written; ++block)
      written = writer->write(std::vector<float>(1000, 0.5F));
    ASSERT_FALSE(written);
    EXPECT_EQ(written.error().kind, ErrorKind::cannot_write);
    EXPECT_EQ(written.error().file, folder / "a.wav");
  }
  EXPECT_TRUE(names_in(folder.path()).empty());
}

TEST(AudioWriter, FinishHearsOfADiskThatFillsUpLast) {
  const test::TemporaryFolder folder;
  {
    const test::FileSizeLimit limit(20000);
    auto writer = AudioWriter::create(folder / "a.wav", {{48000.0}});
    ASSERT_TRUE(writer);
    ASSERT_TRUE(writer->write(std::vector<float>(10000, 0.5F)));
    const auto finished = writer->finish();
    ASSERT_FALSE(finished);
    EXPECT_EQ(finished.error().kind, ErrorKind::cannot_write);
    EXPECT_EQ(finished.error().file, folder / "a.wav");
  }
  EXPECT_TRUE(names_in(folder.path()).empty());
}

TEST(AudioWriter, AWavBeyondFourGibibytesIsRefusedBeforeItIsWritten) {
  // Pages that nobody touches take no memory: the refusal comes before the first is read.
  constexpr std::size_t kBytes = std::size_t{1} << 32;
  void* pages = mmap(nullptr, kBytes, PROT_READ, MAP_PRIVATE | MAP_ANON | MAP_NORESERVE, -1, 0);
  ASSERT_NE(pages, MAP_FAILED);
  const test::TemporaryFolder folder;
  auto writer = AudioWriter::create(folder / "a.wav", {{48000.0}, 1, SampleFormat::float32});
  ASSERT_TRUE(writer);
  const auto written =
      writer->write(std::span(static_cast<const float*>(pages), kBytes / sizeof(float)));
  munmap(pages, kBytes);
  ASSERT_FALSE(written);
  EXPECT_EQ(written.error().kind, ErrorKind::cannot_write);
  EXPECT_NE(written.error().what.find("4 GiB"), std::string::npos);
}

}  // namespace
}  // namespace kilter::media
