#include "kilter/media/stretch_reader.h"

#include <gtest/gtest.h>
#include <sndfile.h>

#include <fstream>

#include "kilter/media/audio_writer.h"
#include "support/reads_that_fail.h"
#include "support/replaced_file_calls.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::media {
namespace {

using test::Samples;

struct Kind {
  const char* name;
  Container container;
  SampleFormat format;
};

class Stretches : public testing::TestWithParam<Kind> {};

TEST_P(Stretches, AreReadFromAnywhereInAnyOrder) {
  const test::TemporaryFolder folder;
  const auto file = folder / "stem";
  const Samples sound = test::noise(2 * 50000, 0.5F, 1);
  auto writer = AudioWriter::create(file, {{48000.0}, 2, GetParam().format, GetParam().container});
  ASSERT_TRUE(writer);
  ASSERT_TRUE(writer->write(sound));
  ASSERT_TRUE(writer->finish());
  auto reader = StretchReader::open(file);
  ASSERT_TRUE(reader) << reader.error().what;
  EXPECT_EQ(reader->rate().hz, 48000.0);
  EXPECT_EQ(reader->channels(), 2);
  EXPECT_EQ(reader->length().n, 50000);
  for (const std::int64_t first : {40000, 100, 0, 49000, 20000}) {
    Samples stretch(2 * 1000);
    ASSERT_TRUE(reader->read({first}, stretch)) << first;
    for (std::size_t i = 0; i < stretch.size(); ++i)
      ASSERT_NEAR(stretch[i], sound[2 * static_cast<std::size_t>(first) + i], 2e-5F) << first;
  }
}

TEST_P(Stretches, BeyondTheEndFail) {
  const test::TemporaryFolder folder;
  const auto file = folder / "stem";
  auto writer = AudioWriter::create(file, {{48000.0}, 1, GetParam().format, GetParam().container});
  ASSERT_TRUE(writer);
  ASSERT_TRUE(writer->write(test::noise(5000, 0.5F, 1)));
  ASSERT_TRUE(writer->finish());
  auto reader = StretchReader::open(file);
  ASSERT_TRUE(reader);
  Samples stretch(1000);
  for (const std::int64_t first : {4001, 5000, 6000, -1})
    EXPECT_FALSE(reader->read({first}, stretch)) << first;
  EXPECT_TRUE(reader->read({4000}, stretch));
}

INSTANTIATE_TEST_SUITE_P(All, Stretches,
                         testing::Values(Kind{"Wav", Container::wav, SampleFormat::pcm24},
                                         Kind{"Float", Container::wav, SampleFormat::float32},
                                         Kind{"Rf64", Container::rf64, SampleFormat::pcm16},
                                         Kind{"Flac", Container::flac, SampleFormat::pcm24}),
                         [](const auto& each) { return each.param.name; });

TEST(StretchReader, SaysWhichFileIsNoSound) {
  const test::TemporaryFolder folder;
  EXPECT_EQ(StretchReader::open(folder / "missing.wav").error().kind, ErrorKind::unreadable);
  std::ofstream(folder / "text.wav") << "no sound";
  const auto text = StretchReader::open(folder / "text.wav");
  ASSERT_FALSE(text);
  EXPECT_EQ(text.error().file, folder / "text.wav");
}

TEST(StretchReader, TellsADiskThatCannotBeReadFromAnEnd) {
  const test::TemporaryFolder folder;
  test::write_sound(folder / "stem.wav", {test::noise(50000, 0.5F, 1)}, 48000);
  int failed = 0;
  for (int k = 1;; ++k) {
    test::ReadsThatFail calls(k, test::ReadsThatFail::Which::all_from_there_on);
    const test::ReplacedFileCalls replaced(calls);
    Samples stretch(40000);
    auto reader = StretchReader::open(folder / "stem.wav");
    const bool is_read = reader && reader->read({5000}, stretch);
    if (calls.calls() < k) {
      EXPECT_TRUE(is_read);
      break;
    }
    EXPECT_FALSE(is_read) << k;
    ++failed;
  }
  EXPECT_GE(failed, 3);
}

}  // namespace
}  // namespace kilter::media
