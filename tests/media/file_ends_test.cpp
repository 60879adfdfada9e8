#include "kilter/media/file_ends.h"

#include <gtest/gtest.h>
#include <sndfile.h>

#include <cstring>

#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::media {
namespace {

using test::Samples;

class StampedFile : public testing::Test {
 protected:
  /// A 24-bit mono file with what stamps are given.
  std::filesystem::path write(const Samples& sound, std::int64_t bext_frames,
                              const std::string& ixml = {}) const {
    const std::filesystem::path path = folder_ / "rec.wav";
    SF_INFO info{};
    info.samplerate = 48000;
    info.channels = 1;
    info.format = SF_FORMAT_WAV | SF_FORMAT_PCM_24;
    SNDFILE* file = sf_open(path.c_str(), SFM_WRITE, &info);
    EXPECT_NE(file, nullptr);
    if (bext_frames >= 0) {
      SF_BROADCAST_INFO stamp{};
      stamp.version = 2;
      stamp.time_reference_low = static_cast<std::uint32_t>(bext_frames);
      stamp.time_reference_high = static_cast<std::uint32_t>(bext_frames >> 32);
      std::memcpy(stamp.origination_date, "2024-03-09", 10);
      EXPECT_EQ(sf_command(file, SFC_SET_BROADCAST_INFO, &stamp, sizeof stamp), SF_TRUE);
    }
    if (!ixml.empty()) {
      SF_CHUNK_INFO chunk{};
      std::memcpy(chunk.id, "iXML", 4);
      chunk.id_size = 4;
      std::string padded = ixml;
      padded.resize((padded.size() + 3) / 4 * 4, ' ');
      chunk.datalen = static_cast<unsigned>(padded.size());
      chunk.data = padded.data();
      EXPECT_EQ(sf_set_chunk(file, &chunk), SF_ERR_NO_ERROR);
    }
    EXPECT_EQ(sf_writef_float(file, sound.data(), std::ssize(sound)), std::ssize(sound));
    sf_close(file);
    return path;
  }

  test::TemporaryFolder folder_;
};

std::string ixml(const char* high, const char* low, const char* rate) {
  return std::string(
             "<?xml version=\"1.0\"?><BWFXML><SPEED><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>") +
         high + "</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>" +
         low + "</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO><TIMESTAMP_SAMPLE_RATE>" + rate +
         "</TIMESTAMP_SAMPLE_RATE></SPEED></BWFXML>";
}

TEST_F(StampedFile, IsReadByItsBroadcastChunk) {
  // 20 h at 192 kHz need more than 32 bits; here they are frames of 48 kHz.
  constexpr std::int64_t kLate = std::int64_t{48000} * 86399;
  const auto stamp = read_start_stamp(write(test::noise(1000, 0.1F, 1), kLate));
  ASSERT_TRUE(stamp);
  EXPECT_EQ(stamp->since_midnight_frames, kLate);
  EXPECT_DOUBLE_EQ(stamp->of_day_s(), 86399.0);
  EXPECT_EQ(stamp->date, "2024-03-09");
}

TEST_F(StampedFile, HasNoStampWhereItSaysMidnight) {
  EXPECT_FALSE(read_start_stamp(write(test::noise(1000, 0.1F, 1), 0)));
  EXPECT_FALSE(read_start_stamp(write(test::noise(1000, 0.1F, 1), -1)));
  EXPECT_FALSE(read_start_stamp(folder_ / "missing.wav"));
}

TEST_F(StampedFile, IsReadByIxmlWhereTheBroadcastChunkIsSilent) {
  const auto stamp =
      read_start_stamp(write(test::noise(1000, 0.1F, 1), 0, ixml("1", " 705032704", "96000")));
  ASSERT_TRUE(stamp);
  EXPECT_EQ(stamp->since_midnight_frames, 5000000000);
  EXPECT_DOUBLE_EQ(stamp->rate.hz, 96000.0);
}

TEST_F(StampedFile, HasNoStampWhereIxmlMakesNoSense) {
  for (const char* low : {"-5", "x", "", "4294967296", "99999999999999999999"})
    EXPECT_FALSE(read_start_stamp(write(test::noise(1000, 0.1F, 1), -1, ixml("0", low, "48000"))))
        << low;
}

TEST_F(StampedFile, GivesItsFirstAndLastFrames) {
  const Samples sound = test::noise(10000, 0.1F, 1);
  const auto ends = read_file_ends(write(sound, 4800), {300});
  ASSERT_TRUE(ends);
  EXPECT_EQ(ends->length.n, 10000);
  EXPECT_EQ(ends->channels, 1);
  EXPECT_TRUE(ends->stamp);
  ASSERT_EQ(ends->head.size(), 300U);
  ASSERT_EQ(ends->tail.size(), 300U);
  for (std::size_t i = 0; i < 300; ++i) {
    EXPECT_NEAR(ends->head[i], sound[i], 1e-6);
    EXPECT_NEAR(ends->tail[i], sound[9700 + i], 1e-6);
  }
  EXPECT_EQ(read_file_ends(write(Samples(50, 0.1F), 0), {300})->tail.size(), 50U);
}

TEST_F(StampedFile, GivesNoEndsWhereItWouldHaveToBeReadWhole) {
  test::write_sound(folder_ / "a.ogg", {test::noise(9000, 0.1F, 1)}, 48000,
                    SF_FORMAT_OGG | SF_FORMAT_VORBIS);
  EXPECT_FALSE(read_file_ends(folder_ / "a.ogg", {300}));
  test::write_text(folder_ / "b.wav", "nothing");
  EXPECT_FALSE(read_file_ends(folder_ / "b.wav", {300}));
}

}  // namespace
}  // namespace kilter::media
