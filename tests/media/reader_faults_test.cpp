// Disks that cannot be read, at every place where they are.
#include <gtest/gtest.h>
#include <sndfile.h>

#include <algorithm>
#include <cstdio>
#include <string>

#include "kilter/media/file_ends.h"
#include "read_whole.h"
#include "support/ffmpeg_tool.h"
#include "support/reads_that_fail.h"
#include "support/replaced_file_calls.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::media {
namespace {

namespace fs = std::filesystem;
using test::ReadsThatFail;
using test::ReplacedFileCalls;
using Which = test::ReadsThatFail::Which;

struct Kind {
  const char* name;
  int format;           // of libsndfile; 0: by ffmpeg
  const char* options;  // of ffmpeg
  const char* ending;
  bool is_looked_through{false};  // by FFmpeg's libraries, as far as it goes, before it is open
};

void PrintTo(const Kind& kind, std::ostream* out) { *out << kind.name; }

class UnreadablePlaces : public testing::TestWithParam<Kind> {
 protected:
  void SetUp() override {
    const Kind& kind = GetParam();
    if (kind.format == 0 && !test::has_ffmpeg()) GTEST_SKIP() << "ffmpeg is not there";
    if (kind.format == 0 && !reads_video_files()) GTEST_SKIP() << "this build does not read it";
    file_ = folder_ / (std::string("keeper") + kind.ending);
    const std::vector<test::Samples> sound{test::noise(40000, 0.5F, 1),
                                           test::noise(40000, 0.5F, 2)};
    if (kind.format != 0) {
      test::write_sound(file_, sound, 48000, kind.format);
    } else {
      test::write_sound(folder_ / "source.wav", sound, 48000);
      ASSERT_TRUE(test::code_with_ffmpeg(folder_ / "source.wav", kind.options, file_));
    }
    auto whole = read_whole(file_);
    ASSERT_TRUE(whole);
    ASSERT_FALSE(whole->failure);
    whole_ = *std::move(whole);
  }

  /// What was read begins like the whole, and where it lacks anything that is told.
  void expect_told(const Result<WholeFile>& heard, const std::string& where) const {
    if (!heard) {
      EXPECT_EQ(heard.error().kind, ErrorKind::unreadable) << where;
      EXPECT_EQ(heard.error().file, file_) << where;
      EXPECT_NE(heard.error().what.find("Input/output error"), std::string::npos)
          << where << heard.error().what;
      return;
    }
    for (std::size_t c = 0; c < heard->channels.size(); ++c) {
      const auto& channel = heard->channels[c];
      ASSERT_LE(channel.size(), whole_.channels[c].size()) << where;
      EXPECT_TRUE(std::equal(channel.begin(), channel.end(), whole_.channels[c].begin())) << where;
    }
    if (heard->failure)
      EXPECT_NE(heard->failure->what.find("Input/output error"), std::string::npos)
          << where << heard->failure->what;
    else
      EXPECT_EQ(heard->frames(), whole_.frames()) << where;
    if (heard->frames() == whole_.frames() && !heard->failure) {
      EXPECT_EQ(heard->info.format, whole_.info.format) << where;
      EXPECT_EQ(heard->info.claimed_length.n, whole_.info.claimed_length.n) << where;
      EXPECT_EQ(heard->notes.breaks_off, whole_.notes.breaks_off) << where;
      EXPECT_EQ(heard->notes.missing.n, whole_.notes.missing.n) << where;
    }
  }

  void fail_every_read(Which which) {
    int failing = 1;
    int cut = 0;
    for (;; ++failing) {
      ReadsThatFail calls(failing, which);
      const ReplacedFileCalls replaced(calls);
      const auto heard = read_whole(file_);
      if (calls.calls() < failing) break;
      cut += heard && heard->failure && heard->frames() < whole_.frames();
      expect_told(heard, "read " + std::to_string(failing) + ": ");
    }
    EXPECT_GT(failing, 5);
    EXPECT_TRUE(cut > 0 || which == Which::one || GetParam().is_looked_through);
    std::printf("  %d reads, %d of them with sound before\n", failing - 1, cut);
  }

  test::TemporaryFolder folder_;
  fs::path file_;
  WholeFile whole_;
};

TEST_P(UnreadablePlaces, EachGivesAnErrorOrTheSoundBeforeAndAnError) {
  fail_every_read(Which::one);
}

TEST_P(UnreadablePlaces, ADiskThatIsGoneGivesAnErrorOrTheSoundBeforeAndAnError) {
  fail_every_read(Which::all_from_there_on);
}

TEST_P(UnreadablePlaces, InterruptionsAndShortReadsAreNone) {
  test::ShortReads busy;
  const ReplacedFileCalls replaced(busy);
  const auto heard = read_whole(file_);
  ASSERT_TRUE(heard);
  EXPECT_FALSE(heard->failure);
  EXPECT_EQ(heard->channels, whole_.channels);
  EXPECT_EQ(heard->info.format, whole_.info.format);
}

INSTANTIATE_TEST_SUITE_P(
    All, UnreadablePlaces,
    testing::Values(Kind{"Wav", SF_FORMAT_WAV | SF_FORMAT_PCM_24, "", ".wav"},
                    Kind{"Rf64", SF_FORMAT_RF64 | SF_FORMAT_PCM_16, "", ".wav"},
                    Kind{"W64", SF_FORMAT_W64 | SF_FORMAT_FLOAT, "", ".w64"},
                    Kind{"Aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_24, "", ".aiff"},
                    Kind{"Caf", SF_FORMAT_CAF | SF_FORMAT_PCM_24, "", ".caf"},
                    Kind{"Flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, "", ".flac"},
                    Kind{"Vorbis", SF_FORMAT_OGG | SF_FORMAT_VORBIS, "", ".ogg"},
                    Kind{"Mp3", 0, "-c:a libmp3lame -b:a 128k", ".mp3", true},
                    Kind{"Aac", 0, "-c:a aac -b:a 64k", ".m4a", true},
                    Kind{"Matroska", 0, "-c:a pcm_s16le", ".mkv"},
                    Kind{"Opus", 0, "-c:a libopus -b:a 64k", ".webm", true}),
    [](const auto& each) { return each.param.name; });

TEST(EndsOfAFileThatCannotBeRead, AreToldAsTheyAreOrNotAtAll) {
  const test::TemporaryFolder folder;
  const fs::path file = folder / "keeper.wav";
  test::write_sound(file, {test::noise(40000, 0.5F, 1)}, 48000, SF_FORMAT_WAV | SF_FORMAT_PCM_24);
  const auto whole = read_file_ends(file, {5000});
  ASSERT_TRUE(whole);
  int failing = 1;
  int told = 0;
  for (;; ++failing) {
    ReadsThatFail calls(failing);
    const ReplacedFileCalls replaced(calls);
    const auto ends = read_file_ends(file, {5000});
    if (calls.calls() < failing) break;
    if (!ends) continue;
    ++told;
    EXPECT_EQ(ends->head, whole->head) << failing;
    EXPECT_EQ(ends->tail, whole->tail) << failing;
    EXPECT_EQ(ends->length.n, whole->length.n) << failing;
  }
  EXPECT_GT(failing, 5);
  EXPECT_LE(told, 1);  // the read that would have shown that nothing follows
}

TEST(AStampThatCannotBeRead, IsToldAndNotTakenForNone) {
  const test::TemporaryFolder folder;
  const fs::path file = folder / "keeper.wav";
  test::write_sound(file, {test::noise(40000, 0.5F, 1)}, 48000, SF_FORMAT_WAV | SF_FORMAT_PCM_24);
  int failing = 1;
  for (;; ++failing) {
    ReadsThatFail calls(failing);
    const ReplacedFileCalls replaced(calls);
    const auto stamp = find_start_stamp(file);
    if (calls.calls() < failing) {
      EXPECT_TRUE(stamp);
      break;
    }
    ASSERT_FALSE(stamp) << failing;
    EXPECT_EQ(stamp.error().kind, ErrorKind::unreadable);
    EXPECT_NE(stamp.error().what.find("Input/output error"), std::string::npos);
  }
  EXPECT_GT(failing, 3);
}

}  // namespace
}  // namespace kilter::media
