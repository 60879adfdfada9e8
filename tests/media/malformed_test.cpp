// Files that are broken in one way each. Whatever they claim, a reader gives one clear error, or
// what is there and what was wrong with it: no crash, no hang, no sound that never was.
#include <gtest/gtest.h>
#include <unistd.h>

#include <cmath>
#include <ctime>
#include <string>

#include "read_whole.h"
#include "support/ffmpeg_tool.h"
#include "support/malformed_files.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::media {
namespace {

// Generous: a sanitizer takes ten times as long, and the machine may have other work.
constexpr double kMostProcessor_s = 5.0;
constexpr unsigned kMostWall_s = 120;

using test::Defect;
using test::Expect;
using test::kMalformedFrames;

class MalformedFile : public testing::TestWithParam<Defect> {};

bool tells(const WholeFile& file) {
  const ReadNotes& notes = file.notes;
  const bool short_of_claim =
      file.info.claimed_length.n - file.frames() > test::kMalformedRateHz / 10;
  return file.failure || notes.breaks_off || notes.unclosed || notes.missing.n > 0 ||
         notes.jump_count > 0 || notes.lost_packets > 0 || notes.not_numbers > 0 || short_of_claim;
}

void expect_clear(const Error& error, const std::filesystem::path& file) {
  EXPECT_EQ(error.kind, ErrorKind::unreadable);
  EXPECT_EQ(error.file, file);
  EXPECT_FALSE(error.what.empty());
  EXPECT_FALSE(error.next_step.empty());
}

TEST_P(MalformedFile, GivesAnErrorOrWhatIsThere) {
  const Defect& row = GetParam();
  if (row.options[0] != '\0' && !test::has_ffmpeg()) GTEST_SKIP() << "ffmpeg is not there";
  if (test::needs_libav(row.kind) && !reads_video_files())
    GTEST_SKIP() << "this build does not read it";
  const std::string bytes = test::malformed_file(row);
  ASSERT_FALSE(bytes.empty());
  const test::TemporaryFolder folder;
  const auto file = folder / (std::string("a.") + row.kind);
  test::write_text(file, bytes);

  alarm(kMostWall_s);  // ends the test program: better than a hang
  const std::clock_t begin = std::clock();
  const auto heard = read_whole(file);
  const double processor_s = static_cast<double>(std::clock() - begin) / CLOCKS_PER_SEC;
  alarm(0);
  EXPECT_LT(processor_s, kMostProcessor_s);

  if (!heard) {
    expect_clear(heard.error(), file);
    EXPECT_EQ(row.expect, Expect::refused) << heard.error().what;
    return;
  }
  // Nothing is there, which the layer above says of any file.
  if (heard->frames() == 0) {
    EXPECT_EQ(row.expect, Expect::refused);
    return;
  }
  if (heard->failure) expect_clear(*heard->failure, file);
  EXPECT_NE(row.expect, Expect::refused) << heard->frames() << " frames were read";
  EXPECT_EQ(tells(*heard), row.expect == Expect::told) << heard->frames() << " frames";
  for (const auto& channel : heard->channels)
    for (const float sample : channel) ASSERT_TRUE(std::isfinite(sample));
  // What is put in for lost packets, and the padding of the last, is no sound.
  EXPECT_LE(heard->frames() - heard->notes.put_in.n, kMalformedFrames * 5 / 4);
}

std::string name_of(const testing::TestParamInfo<Defect>& each) { return each.param.name; }

INSTANTIATE_TEST_SUITE_P(Wav, MalformedFile, testing::ValuesIn(test::wav_defects()), name_of);
INSTANTIATE_TEST_SUITE_P(OtherPcm, MalformedFile, testing::ValuesIn(test::other_pcm_defects()),
                         name_of);
INSTANTIATE_TEST_SUITE_P(Lossy, MalformedFile, testing::ValuesIn(test::lossy_defects()), name_of);
INSTANTIATE_TEST_SUITE_P(Mp4, MalformedFile, testing::ValuesIn(test::mp4_defects()), name_of);
INSTANTIATE_TEST_SUITE_P(Matroska, MalformedFile, testing::ValuesIn(test::matroska_defects()),
                         name_of);

}  // namespace
}  // namespace kilter::media
