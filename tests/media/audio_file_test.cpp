#include "kilter/media/audio_file.h"

#include <gtest/gtest.h>
#include <sndfile.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>
#include <random>
#include <thread>
#include <vector>

#include "support/temporary_folder.h"

namespace kilter::media {
namespace {

constexpr int kFrames = 5000;

/// Two partials, another in every channel, no sample beyond 0.8.
std::vector<float> chord(int frames, int channels) {
  std::vector<float> sound(static_cast<std::size_t>(frames * channels));
  for (int i = 0; i < frames; ++i)
    for (int c = 0; c < channels; ++c) {
      const double turn = 2.0 * std::numbers::pi * i;
      sound[static_cast<std::size_t>(i * channels + c)] = static_cast<float>(
          0.5 * std::sin(turn * (0.01 + 0.003 * c)) + 0.3 * std::sin(turn * 0.037));
    }
  return sound;
}

/// Rounded to whole steps of an integer format, so that storing it loses nothing.
std::vector<float> in_steps(std::vector<float> sound, int bits) {
  for (float& sample : sound)
    sample = std::ldexp(std::nearbyint(std::ldexp(sample, bits - 1)), 1 - bits);
  return sound;
}

/// `bits` above 0: stored as integers, without the library's own scaling of floats.
void write_sound(const std::filesystem::path& file, int format, int rate_hz, int channels,
                 const std::vector<float>& sound, int bits = 0) {
  SF_INFO info{};
  info.format = format;
  info.samplerate = rate_hz;
  info.channels = channels;
  SNDFILE* handle = sf_open(file.c_str(), SFM_WRITE, &info);
  ASSERT_NE(handle, nullptr) << sf_strerror(nullptr);
  const sf_count_t frames = std::ssize(sound) / channels;
  if (bits == 0) {
    EXPECT_EQ(sf_writef_float(handle, sound.data(), frames), frames);
  } else {
    std::vector<int> integers(sound.size());
    std::transform(sound.begin(), sound.end(), integers.begin(), [](float sample) {
      return static_cast<int>(std::ldexp(static_cast<double>(sample), 31));
    });
    EXPECT_EQ(sf_writef_int(handle, integers.data(), frames), frames);
  }
  EXPECT_EQ(sf_close(handle), 0);
}

struct Decoded {
  std::vector<float> sound;
  std::optional<Error> failure;
};

/// Reads in blocks of a size that divides nothing.
Decoded read_all(AudioSource& source) {
  constexpr int kBlock = 977;
  Decoded decoded;
  const auto channels = static_cast<std::size_t>(source.channels());
  std::vector<float> block(kBlock * channels);
  for (;;) {
    const auto got = source.read(block);
    if (!got) {
      decoded.failure = got.error();
      return decoded;
    }
    if (got->n == 0) return decoded;
    const auto samples = static_cast<std::ptrdiff_t>(channels) * got->n;
    decoded.sound.insert(decoded.sound.end(), block.begin(), block.begin() + samples);
  }
}

struct Lossless {
  const char* name;
  const char* file;
  int format;
  int rate_hz;
  int channels;
  const char* label;
  int bits;  // 0: floating point
};

class LosslessFile : public testing::TestWithParam<Lossless> {};

TEST_P(LosslessFile, ComesBackToTheSample) {
  const Lossless& row = GetParam();
  const test::TemporaryFolder folder;
  std::vector<float> sound = chord(kFrames, row.channels);
  if (row.bits > 0) sound = in_steps(std::move(sound), row.bits);
  write_sound(folder / row.file, row.format, row.rate_hz, row.channels, sound, row.bits);

  const auto audio = open_audio(folder / row.file);
  ASSERT_TRUE(audio) << audio.error().what;
  EXPECT_EQ(audio->info.format, row.label);
  EXPECT_EQ(audio->info.rate.hz, row.rate_hz);
  EXPECT_EQ(audio->info.channels, row.channels);
  EXPECT_EQ(audio->info.claimed_length.n, kFrames);
  EXPECT_FALSE(audio->info.lossy);
  EXPECT_EQ(audio->source->rate().hz, row.rate_hz);
  EXPECT_EQ(audio->source->channels(), row.channels);

  const Decoded decoded = read_all(*audio->source);
  EXPECT_FALSE(decoded.failure);
  EXPECT_EQ(decoded.sound, sound);
}

INSTANTIATE_TEST_SUITE_P(
    All, LosslessFile,
    testing::Values(
        Lossless{"Wav16At44100Stereo", "a.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 44100, 2,
                 "WAV 16-bit", 16},
        Lossless{"Wav24At48000Mono", "a.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_24, 48000, 1,
                 "WAV 24-bit", 24},
        Lossless{"WavFloatAt96000SixChannels", "a.WAV", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 96000, 6,
                 "WAV 32-bit float", 0},
        Lossless{"Wav32At192000", "a.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_32, 192000, 1,
                 "WAV 32-bit", 32},
        Lossless{"Wav8At8000", "a.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_U8, 8000, 1, "WAV 8-bit", 8},
        Lossless{"Rf64At48000ThirtyTwoChannels", "a.rf64", SF_FORMAT_RF64 | SF_FORMAT_PCM_24, 48000,
                 32, "RF64 24-bit", 24},
        Lossless{"W64At48000", "a.w64", SF_FORMAT_W64 | SF_FORMAT_PCM_24, 48000, 2, "W64 24-bit",
                 24},
        Lossless{"AiffAt32000", "a.aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_16, 32000, 2,
                 "AIFF 16-bit", 16},
        Lossless{"CafFloatAt48000", "a.caf", SF_FORMAT_CAF | SF_FORMAT_FLOAT, 48000, 2,
                 "CAF 32-bit float", 0},
        Lossless{"CafAlacAt44100", "a.caf", SF_FORMAT_CAF | SF_FORMAT_ALAC_16, 44100, 1,
                 "CAF ALAC 16-bit", 16},
        Lossless{"Flac16At22050", "a.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 22050, 1,
                 "FLAC 16-bit", 16},
        Lossless{"Flac24At48000Stereo", "a.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 48000, 2,
                 "FLAC 24-bit", 24},
        Lossless{"AuAt11025", "a.au", SF_FORMAT_AU | SF_FORMAT_PCM_16, 11025, 1, "AU 16-bit", 16},
        Lossless{"EndingThatLies", "a.mp3", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1,
                 "WAV 16-bit", 16}),
    [](const auto& each) { return each.param.name; });

struct Lossy {
  const char* name;
  const char* file;
  int format;
  int rate_hz;
  const char* label;
};

class LossyFile : public testing::TestWithParam<Lossy> {};

TEST_P(LossyFile, KeepsItsLengthAndItsPlaceInTime) {
  const Lossy& row = GetParam();
  const test::TemporaryFolder folder;
  const int frames = row.rate_hz;
  const std::vector<float> sound = chord(frames, 1);
  write_sound(folder / row.file, row.format, row.rate_hz, 1, sound);

  const auto audio = open_audio(folder / row.file);
  ASSERT_TRUE(audio) << audio.error().what;
  EXPECT_EQ(audio->info.format, row.label);
  EXPECT_TRUE(audio->info.lossy);
  const Decoded decoded = read_all(*audio->source);
  EXPECT_FALSE(decoded.failure);
  ASSERT_EQ(std::ssize(decoded.sound), frames);
  // One frame of delay alone would leave a difference of about -20 dB; the codecs leave less.
  double error = 0.0;
  double power = 0.0;
  for (std::size_t i = 2000; i + 2000 < sound.size(); ++i) {
    error += std::pow(static_cast<double>(decoded.sound[i]) - sound[i], 2.0);
    power += std::pow(static_cast<double>(sound[i]), 2.0);
  }
  EXPECT_LT(10.0 * std::log10(error / power), -24.0);
}

INSTANTIATE_TEST_SUITE_P(
    All, LossyFile,
    testing::Values(Lossy{"Vorbis", "a.ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS, 44100, "Ogg Vorbis"},
                    Lossy{"Opus", "a.opus", SF_FORMAT_OGG | SF_FORMAT_OPUS, 48000, "Ogg Opus"},
                    Lossy{"Mp3WithATag", "a.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III, 48000,
                          "MP3"}),
    [](const auto& each) { return each.param.name; });

/// As libsndfile itself makes samples of it.
std::vector<float> by_the_library(const std::filesystem::path& file) {
  SF_INFO info{};
  SNDFILE* handle = sf_open(file.c_str(), SFM_READ, &info);
  EXPECT_NE(handle, nullptr) << sf_strerror(nullptr);
  std::vector<float> sound(static_cast<std::size_t>(info.frames * info.channels));
  EXPECT_EQ(sf_readf_float(handle, sound.data(), info.frames), info.frames);
  sf_close(handle);
  return sound;
}

struct Numbers {
  const char* name;
  int format;
};

class WholeNumbers : public testing::TestWithParam<Numbers> {};

TEST_P(WholeNumbers, OfEveryKindBecomeTheLibrarysSamplesToTheLastBit) {
  constexpr int kChannels = 3;
  const test::TemporaryFolder folder;
  SF_INFO info{};
  info.format = GetParam().format;
  info.samplerate = 48000;
  info.channels = kChannels;
  SNDFILE* handle = sf_open((folder / "numbers").c_str(), SFM_WRITE, &info);
  ASSERT_NE(handle, nullptr) << sf_strerror(nullptr);
  std::vector<int> numbers{0,     1,     -1,     255,        256,        -256,
                           65535, 65536, -65536, 0x7FFFFFFF, 0x7FFFFF00, -0x7FFFFFFF - 1};
  std::mt19937 draw(1);
  while (std::ssize(numbers) < kFrames * kChannels) numbers.push_back(static_cast<int>(draw()));
  ASSERT_EQ(sf_writef_int(handle, numbers.data(), kFrames), kFrames);
  ASSERT_EQ(sf_close(handle), 0);

  const auto audio = open_audio(folder / "numbers");
  ASSERT_TRUE(audio) << audio.error().what;
  const Decoded decoded = read_all(*audio->source);
  EXPECT_FALSE(decoded.failure);
  EXPECT_EQ(decoded.sound, by_the_library(folder / "numbers"));
}

INSTANTIATE_TEST_SUITE_P(
    Pcm, WholeNumbers,
    testing::Values(Numbers{"Wav8", SF_FORMAT_WAV | SF_FORMAT_PCM_U8},
                    Numbers{"Wav16", SF_FORMAT_WAV | SF_FORMAT_PCM_16},
                    Numbers{"Wav24", SF_FORMAT_WAV | SF_FORMAT_PCM_24},
                    Numbers{"Wav32", SF_FORMAT_WAV | SF_FORMAT_PCM_32},
                    Numbers{"WavOtherWayRound", SF_FORMAT_WAV | SF_FORMAT_PCM_24 | SF_ENDIAN_BIG},
                    Numbers{"Wavex24", SF_FORMAT_WAVEX | SF_FORMAT_PCM_24},
                    Numbers{"Rf64", SF_FORMAT_RF64 | SF_FORMAT_PCM_24},
                    Numbers{"W64", SF_FORMAT_W64 | SF_FORMAT_PCM_32},
                    Numbers{"Aiff24", SF_FORMAT_AIFF | SF_FORMAT_PCM_24},
                    Numbers{"AiffLittle", SF_FORMAT_AIFF | SF_FORMAT_PCM_16 | SF_ENDIAN_LITTLE},
                    Numbers{"Caf24", SF_FORMAT_CAF | SF_FORMAT_PCM_24}),
    [](const auto& row) { return row.param.name; });

TEST(AudioFile, ReadsWhatIsNoNumberAsSilence) {
  const test::TemporaryFolder folder;
  const float infinity = std::numeric_limits<float>::infinity();
  write_sound(folder / "a.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 1,
              {0.5F, std::numeric_limits<float>::quiet_NaN(), infinity, -infinity, 1.5F});
  const auto audio = open_audio(folder / "a.wav");
  ASSERT_TRUE(audio);
  EXPECT_EQ(read_all(*audio->source).sound, (std::vector<float>{0.5F, 0.0F, 0.0F, 0.0F, 1.5F}));
  EXPECT_EQ(audio->source->notes().not_numbers, 3);
  EXPECT_EQ(audio->source->notes().first_not_number.n, 1);
}

struct Unreadable {
  const char* name;
  const char* file;
  const char* what;  // how the sentence begins
};

class UnreadableFile : public testing::TestWithParam<Unreadable> {
 protected:
  static void make_all(const test::TemporaryFolder& folder) {
    test::write_text(folder / "text.wav",
                     "The lamp was lit at dusk and burned until the morning.\n");
    test::write_text(folder / "text.au",
                     "The lamp was lit at dusk and burned until the morning.\n");
    test::write_text(folder / "text.vox",
                     "The lamp was lit at dusk and burned until the morning.\n");
    test::write_text(folder / "text.mp3",
                     "The lamp was lit at dusk and burned until the morning.\n");
    test::write_text(folder / "empty.wav", "");
    test::write_text(folder / "short.wav", "RIFF");
    std::filesystem::create_directory(folder / "folder.wav");
  }
};

TEST_P(UnreadableFile, IsOneClearError) {
  const test::TemporaryFolder folder;
  make_all(folder);
  const auto audio = open_audio(folder / GetParam().file);
  ASSERT_FALSE(audio);
  const Error& error = audio.error();
  EXPECT_EQ(error.kind, ErrorKind::unreadable);
  EXPECT_EQ(error.file, folder / GetParam().file);
  EXPECT_EQ(error.what.rfind(GetParam().what, 0), 0U) << error.what;
  EXPECT_FALSE(error.next_step.empty());
}

INSTANTIATE_TEST_SUITE_P(
    All, UnreadableFile,
    testing::Values(Unreadable{"Missing", "missing.wav", "there is no such file"},
                    Unreadable{"Empty", "empty.wav", "the file is empty"},
                    Unreadable{"Folder", "folder.wav", "it is a folder"},
                    Unreadable{"TextNamedWav", "text.wav", "not a format we know (libsndfile: "},
                    Unreadable{"TextNamedAu", "text.au", "not a format we know (libsndfile: "},
                    Unreadable{"TextNamedVox", "text.vox", "not a format we know (libsndfile: "},
                    Unreadable{"TextNamedMp3", "text.mp3", "not a format we know (libsndfile: "},
                    Unreadable{"FourBytes", "short.wav", "not a format we know (libsndfile: "},
                    Unreadable{"BelowAFile", "empty.wav/below.wav", "there is no such file"}),
    [](const auto& each) { return each.param.name; });

TEST(AudioFile, ARateBeyondTheLimitsIsRefused) {
  const test::TemporaryFolder folder;
  write_sound(folder / "slow.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 999, 1, chord(100, 1));
  const auto audio = open_audio(folder / "slow.wav");
  ASSERT_FALSE(audio);
  EXPECT_EQ(audio.error().what, "its sample rate is 999 Hz");
}

TEST(AudioFile, MoreThan64ChannelsAreRefused) {
  const test::TemporaryFolder folder;
  write_sound(folder / "wide.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 65, chord(100, 65));
  const auto audio = open_audio(folder / "wide.wav");
  ASSERT_FALSE(audio);
  EXPECT_EQ(audio.error().what, "it has 65 channels");
}

void cut_file(const std::filesystem::path& file, double share) {
  const auto size = static_cast<double>(std::filesystem::file_size(file));
  std::filesystem::resize_file(file, static_cast<std::uintmax_t>(size * share));
}

TEST(AudioFile, ACutFlacDeliversWhatItHoldsThenFails) {
  const test::TemporaryFolder folder;
  const std::vector<float> sound = in_steps(chord(96000, 1), 16);
  write_sound(folder / "cut.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 48000, 1, sound, 16);
  cut_file(folder / "cut.flac", 0.6);
  const auto audio = open_audio(folder / "cut.flac");
  ASSERT_TRUE(audio) << audio.error().what;
  EXPECT_EQ(audio->info.claimed_length.n, 96000);
  const Decoded decoded = read_all(*audio->source);
  ASSERT_TRUE(decoded.failure);
  EXPECT_EQ(decoded.failure->kind, ErrorKind::unreadable);
  EXPECT_EQ(decoded.failure->file, folder / "cut.flac");
  EXPECT_GT(decoded.sound.size(), 40000U);
  EXPECT_LT(decoded.sound.size(), 70000U);
  for (std::size_t i = 0; i < decoded.sound.size(); ++i) ASSERT_EQ(decoded.sound[i], sound[i]) << i;
}

TEST(AudioFile, ACutOggClaimsNoLength) {
  const test::TemporaryFolder folder;
  write_sound(folder / "cut.ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS, 48000, 1, chord(960000, 1));
  cut_file(folder / "cut.ogg", 0.6);
  const auto audio = open_audio(folder / "cut.ogg");
  ASSERT_TRUE(audio) << audio.error().what;
  EXPECT_EQ(audio->info.claimed_length.n, 0);
  EXPECT_GT(read_all(*audio->source).sound.size(), 100000U);
}

TEST(AudioFile, ManyThreadsEachGetTheirOwnAnswer) {
  const test::TemporaryFolder folder;
  write_sound(folder / "good.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 48000, 1, chord(1000, 1));
  test::write_text(folder / "bad.wav", "The lamp was lit at dusk and burned until the morning.\n");
  std::vector<int> wrong(8, 0);
  std::vector<std::thread> threads;
  for (std::size_t t = 0; t < wrong.size(); ++t)
    threads.emplace_back([&, t] {
      for (int i = 0; i < 50; ++i) {
        const auto audio = open_audio(folder / (t % 2 == 0 ? "good.wav" : "bad.wav"));
        const bool right = t % 2 == 0 ? static_cast<bool>(audio)
                                      : !audio && audio.error().what.find("not a format") == 0;
        if (!right) ++wrong[t];
      }
    });
  for (std::thread& thread : threads) thread.join();
  for (const int count : wrong) EXPECT_EQ(count, 0);
}

TEST(AudioName, KnowsAudioByItsEndingInAnyCase) {
  for (const char* name : {"a.wav", "A.WAV", "b.Flac", "c.mp3", "d.opus", "e.m4a", "f.g.aiff",
                           "g.webm", "h.MOV", "i.3gp", "j.amr", "k.bw64", "l.m4b", "m.aifc"})
    EXPECT_TRUE(has_audio_name(name)) << name;
  for (const char* name : {"notes.txt", "wav", ".wav", "a.wav.part", "lineup.json", ""})
    EXPECT_FALSE(has_audio_name(name)) << name;
}

}  // namespace
}  // namespace kilter::media
