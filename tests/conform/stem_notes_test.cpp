#include "stem_notes.h"

#include <gtest/gtest.h>
#include <sndfile.h>

#include "support/reads_that_fail.h"
#include "support/replaced_file_calls.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter::conform {
namespace {

constexpr double kRate_hz = 48000.0;

/// A microphone that began 2.5 s before the stems, ran 60 ppm fast, lost a second and said a tenth
/// twice.
LineupTrack keeper() {
  LineupTrack track;
  track.name = "keeper";
  track.parts = {{"rec_0001.wav", 2, 960000}, {"rec_0002.wav", 2, 480000}};
  track.rate_hz = kRate_hz;
  track.standing = Standing::firm;
  track.uncertainty_us = 12.3;
  const double slower = 1.0 / (1.0 + 60e-6);
  track.map = *TimeMap::make({{0.0, 10.0, -2.5, -2.5 + 10.0 * slower, 12.3},
                              {10.0, 20.0, -1.5 + 10.0 * slower, -1.5 + 20.0 * slower, 12.3},
                              {20.1, 30.0, -1.5 + 20.0 * slower, -1.5 + 29.9 * slower, 12.3}});
  return track;
}

class NotesOf : public testing::Test {
 protected:
  NotesOf() {
    lineup_.session = "Lighthouse Hour";
    lineup_.timeline_rate_hz = kRate_hz;
    lineup_.mix = LineupMix{"mixdown.wav", kRate_hz, 1440000, {{0.0, 30.0, 0.0, 30.0, 0.0}}, {}};
    lineup_.tracks = {keeper()};
    options_.program = "kilter 1.2";
    options_.frame_rate = {30, true, true};
    options_.start_frame = 107892;  // 01:00:00;00
  }
  media::BroadcastNotes notes(const StemPlan& plan) {
    auto told = notes_of(plan, lineup_, folder_.path(), shape_, options_);
    EXPECT_TRUE(told) << told.error().what;
    return told ? *std::move(told) : media::BroadcastNotes{};
  }

  test::TemporaryFolder folder_;
  Lineup lineup_;
  StemShape shape_{kRate_hz, 0.0, 1440000, media::SampleFormat::pcm24, media::Container::wav};
  ConformOptions options_;
};

TEST_F(NotesOf, AStemTellItsSourceAndItsMapInWords) {
  const auto told = notes({"keeper.wav", {{&lineup_.tracks[0]}}});
  EXPECT_EQ(told.description,
            "rec_0001.wav channel 2 and 1 more file, starts 2.500000 s before this stem, "
            "60.00 ppm fast taken out, 3 spans, firm to 0.0123 ms");
  EXPECT_EQ(told.originator, "kilter 1.2");
  EXPECT_EQ(told.project, "Lighthouse Hour");
  EXPECT_EQ(told.track_names, std::vector<std::string>{"keeper"});
}

TEST_F(NotesOf, AStemUnderAWrongHeaderTellTheTrueRate) {
  LineupTrack& track = lineup_.tracks[0];
  track.rate_hz = 44100.0;
  track.map = *TimeMap::make({{0.0, 48.0, 0.0, 48.0 * 44100.0 / 48000.0, 5.0}});
  track.findings.push_back({"wrong-rate", "", {}, {}, {}, {}, {}, 48000.0});
  EXPECT_EQ(notes({"keeper.wav", {{&track}}}).description,
            "rec_0001.wav channel 2 and 1 more file, starts 0.000000 s into this stem, recorded at "
            "48000 Hz under a header of 44100, firm to 0.0123 ms");
}

TEST_F(NotesOf, AStemCarryTheTimecodeOfItsFirstSample) {
  const auto told = notes({"keeper.wav", {{&lineup_.tracks[0]}}});
  // 107892 frames of 1001/30000 s at 48 kHz are 172799827.2 samples; the first within is the next.
  EXPECT_EQ(told.time_reference.n, 172799828);
  ASSERT_TRUE(told.timecode_rate);
  EXPECT_EQ(told.timecode_rate->numerator, 30000);
  EXPECT_EQ(told.timecode_rate->denominator, 1001);
  EXPECT_TRUE(told.timecode_rate->drop_frame);
}

TEST_F(NotesOf, AStemHaveACueWhereSoundIsMissingOrCutOut) {
  const auto told = notes({"keeper.wav", {{&lineup_.tracks[0]}}});
  ASSERT_EQ(told.cues.size(), 2U);
  EXPECT_EQ(told.cues[0].at.n, 359971);  // 7.4994 s: where the sound before the loss ends
  EXPECT_EQ(told.cues[0].text, "1.000 s lost");
  EXPECT_EQ(told.cues[1].at.n, 887942);  // 18.4988 s
  EXPECT_EQ(told.cues[1].text, "0.100 s cut out");
}

TEST_F(NotesOf, AStemTellHowItsSourcesWereCoded) {
  test::write_sound(folder_ / "rec_0001.wav", {test::Samples(100), test::Samples(100)}, 48000,
                    SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  test::write_sound(folder_ / "rec_0002.wav", {test::Samples(100), test::Samples(100)}, 48000);
  const auto told = notes({"keeper.wav", {{&lineup_.tracks[0]}}});
  EXPECT_EQ(told.coding_history,
            "A=PCM,F=48000,W=16,M=stereo,T=rec_0001.wav; WAV 16-bit\n"
            "A=PCM,F=48000,M=stereo,T=rec_0002.wav; WAV 32-bit float\n"
            "A=PCM,F=48000,W=24,M=mono,T=kilter 1.2\n");
}

TEST_F(NotesOf, AStemAreNoneWhereASourceCannotBeRead) {
  for (const char* name : {"rec_0001.wav", "rec_0002.wav"})
    test::write_sound(folder_ / name, {test::Samples(100), test::Samples(100)}, 48000);
  const StemPlan plan{"keeper.wav", {{&lineup_.tracks[0]}}};
  const std::string whole = notes(plan).coding_history;
  int failing = 1;
  int refused = 0;
  for (;; ++failing) {
    test::ReadsThatFail calls(failing);
    const test::ReplacedFileCalls replaced(calls);
    const auto told = notes_of(plan, lineup_, folder_.path(), shape_, options_);
    if (calls.calls() < failing) break;
    if (told) {  // what was asked a second time
      EXPECT_EQ(told->coding_history, whole) << failing;
      continue;
    }
    ++refused;
    EXPECT_EQ(told.error().kind, ErrorKind::unreadable);
    EXPECT_NE(told.error().what.find("Input/output error"), std::string::npos);
  }
  EXPECT_GT(refused, 10);
}

TEST_F(NotesOf, StemsAreToldApartAndTheSameStemIsNot) {
  LineupTrack other = keeper();
  other.name = "mate";
  const auto one = notes({"keeper.wav", {{&lineup_.tracks[0]}}});
  EXPECT_EQ(one.originator_reference,
            notes({"keeper.wav", {{&lineup_.tracks[0]}}}).originator_reference);
  EXPECT_NE(one.originator_reference, notes({"mate.wav", {{&other}}}).originator_reference);
  EXPECT_LE(one.originator_reference.size(), 32U);
}

TEST_F(NotesOf, TheMixSayWhatItIs) {
  LineupTrack mix;
  mix.name = "mixdown";
  mix.role = Role::mix;
  mix.rate_hz = kRate_hz;
  mix.parts = {{"mixdown.wav", 1, 1440000}};
  mix.map = *TimeMap::make(lineup_.mix->spans);
  EXPECT_EQ(notes({"mixdown.wav", {{&mix}}}).description, "the mix: mixdown.wav");
  lineup_.timeline_clock = "keeper";
  EXPECT_EQ(notes({"mixdown.wav", {{&mix}}}).description,
            "the mix: mixdown.wav, on the clock of keeper");
}

}  // namespace
}  // namespace kilter::conform
