#include "finding_texts.h"

#include <gtest/gtest.h>

namespace kilter::sync {
namespace {

/// Amid a pause of ten seconds.
Seam in_a_pause(double step_s) {
  Seam seam;
  seam.step_s = step_s;
  seam.place.mix_end_s = 60.0;
  seam.place.earliest_s = 55.0;
  seam.place.latest_s = 65.0;
  return seam;
}

bool tells(const Finding& finding, const std::string& part) {
  return finding.text.find(part) != std::string::npos;
}

TEST(SeamFinding, TellsTheRangeOfAPauseInASentenceOfItsOwn) {
  const Finding lost = seam_finding(in_a_pause(0.7), 61.0, 60.0);
  EXPECT_TRUE(tells(lost,
                    " at 00:01:00.000 of the timeline, or so. It may be anywhere between "
                    "00:00:55.000 and 00:01:05.000 of the timeline. The stem has silence"))
      << lost.text;
}

TEST(SeamFinding, KnowsThePlaceOfDigitalSilenceAndOfARepeat) {
  Seam zeros = in_a_pause(-0.5);
  zeros.place.zeros = true;
  const Finding told = seam_finding(zeros, 61.0, 60.0);
  EXPECT_TRUE(tells(told, " at 00:01:00.000 of the timeline, a run of digital silence. The stem"))
      << told.text;
  Seam twice = in_a_pause(-0.5);
  twice.place.repeated = true;
  EXPECT_FALSE(tells(seam_finding(twice, 61.0, 60.0), "anywhere between"));
}

TEST(SeamFinding, TellsWhatAStreamDidBeforeTheRange) {
  Seam stream = in_a_pause(0.05);
  stream.cause = SeamCause::stream;
  const Finding told = seam_finding(stream, 61.0, 60.0);
  EXPECT_TRUE(tells(told, "which no sound tells apart. It may be anywhere between")) << told.text;
}

TEST(MixSeamFinding, TellsAPlaceOnceWhereMixAndTimelineAgree) {
  EXPECT_FALSE(tells(mix_seam_finding(in_a_pause(0.06), 60.0), "00:01:00.000 of the timeline"));
  EXPECT_TRUE(tells(mix_seam_finding(in_a_pause(0.06), 60.06),
                    "at 00:01:00.000 of the mix, 00:01:00.060 of the timeline. The tracks"));
}

TEST(MissingVoiceFinding, SaysWhoseRecordingHadNotBeenStarted) {
  const std::vector<Stretch> voice{{2.5, 9.5}};
  const Finding all = missing_voice_finding(voice, {6.97, {"cook", "keeper"}});
  EXPECT_TRUE(tells(all,
                    "All of that is from before the recording of \"cook\" and \"keeper\" had "
                    "been started"))
      << all.text;
  const Finding part = missing_voice_finding(voice, {3.0, {"cook"}});
  EXPECT_TRUE(tells(part,
                    "00:00:03.0 of that is from before the recording of \"cook\" had been "
                    "started"))
      << part.text;
  EXPECT_FALSE(tells(missing_voice_finding(voice), "had been started"));
}

TEST(FindingTexts, TellAPulledRateAsSpeedForNoHeaderHasIt) {
  EXPECT_TRUE(tells(wrong_rate_finding(44100.0, 48000.0 / 44100.0), "recorded at 48000 Hz"));
  EXPECT_TRUE(tells(wrong_rate_finding(48000.0, 1.0 / 1.001), "It runs 0.1 % fast"));
  EXPECT_TRUE(tells(wrong_rate_finding(48000.0, 1.001), "It runs 0.1 % slow"));
  EXPECT_FALSE(tells(wrong_rate_finding(48000.0, 1.001), "header"));
  EXPECT_EQ(wrong_rate_finding(48000.0, 1.001).rate_hz, 48048.0);
}

}  // namespace
}  // namespace kilter::sync
