#include "kilter/survey/survey.h"

#include <gtest/gtest.h>

#include <cmath>

namespace kilter::survey {
namespace {

using intake::IntakeChannel;
using intake::IntakeFile;
using intake::Levels;

constexpr double kRateHz = 48000.0;
constexpr std::int64_t kFrames = 48000 * 360;

/// A microphone with somebody in front of it.
Levels voice() {
  Levels levels;
  levels.peak_dbfs = -6.0;
  levels.rms_dbfs = -28.0;
  levels.level_dbfs = -22.0;
  levels.loudest_dbfs = -14.0;
  levels.floor_dbfs = -62.0;
  return levels;
}

Levels silence() {
  Levels levels;
  levels.peak_dbfs = levels.rms_dbfs = levels.level_dbfs = levels.loudest_dbfs = levels.floor_dbfs =
      -INFINITY;
  return levels;
}

IntakeFile file_of(const std::vector<Levels>& channels, std::uint64_t digest) {
  IntakeFile file{};
  file.info = {"WAV 24-bit", {kRateHz}, static_cast<int>(channels.size()), {kFrames}, false};
  file.length = {kFrames};
  for (const Levels& levels : channels) {
    IntakeChannel channel;
    channel.levels = levels;
    channel.digest = digest++;
    channel.signal = std::make_shared<MemorySignal>(std::vector<float>(16, 0.1F));
    file.channels.push_back(channel);
  }
  return file;
}

class SurveyOf : public testing::Test {
 protected:
  void add(const std::string& name, Result<IntakeFile> file) {
    session_.files.push_back({"/shows/lighthouse/" + name, name});
    taken_.push_back(std::move(file));
  }
  Survey survey(std::optional<std::size_t> mix = {}) {
    auto made = make_survey(session_, taken_, mix);
    EXPECT_TRUE(made);
    return made ? *made : Survey{};
  }
  static std::vector<std::string> names(const Survey& survey) {
    std::vector<std::string> result;
    for (const SurveyTrack& track : survey.tracks) result.push_back(track.name);
    return result;
  }
  static std::vector<std::string> codes(const std::vector<Finding>& findings) {
    std::vector<std::string> result;
    for (const Finding& finding : findings) result.push_back(finding.code);
    return result;
  }

  session::Session session_{"lighthouse", "/shows/lighthouse", true, {}, {}, {}};
  std::vector<Result<IntakeFile>> taken_;
};

TEST_F(SurveyOf, MakesATrackOfEveryChannelThatSounds) {
  add("desk.wav", file_of({voice(), silence(), voice(), silence()}, 10));
  add("guest.wav", file_of({voice()}, 20));
  add("half.wav", file_of({silence(), voice()}, 30));
  const Survey result = survey();
  EXPECT_EQ(names(result), (std::vector<std::string>{"desk-ch1", "desk-ch3", "guest", "half"}));
  EXPECT_EQ(result.tracks[1].channel, 3);
  EXPECT_EQ(result.tracks[3].channel, 2);
  ASSERT_EQ(codes(result.findings), (std::vector<std::string>{"silent", "silent"}));
  EXPECT_EQ(result.findings[0].text.find("Channels 2 and 4 of \"desk.wav\" hold"), 0U);
  EXPECT_EQ(result.findings[1].text.find("Channel 1 of \"half.wav\" holds"), 0U);
  EXPECT_FALSE(needs_person(result));
}

TEST_F(SurveyOf, FoldsChannelsWithTheSameSamples) {
  IntakeFile dual = file_of({voice(), voice()}, 10);
  dual.channels[1].same_as = 0;
  dual.channels[1].signal.reset();
  add("guest.wav", dual);
  const Survey result = survey();
  ASSERT_EQ(names(result), (std::vector<std::string>{"guest"}));
  EXPECT_EQ(result.tracks[0].same_channels, (std::vector<int>{2}));
}

TEST_F(SurveyOf, KeepsARowForASilentFile) {
  add("guest.wav", file_of({silence(), silence()}, 10));
  const Survey result = survey();
  ASSERT_EQ(names(result), (std::vector<std::string>{"guest"}));
  EXPECT_FALSE(result.tracks[0].signal);
  EXPECT_EQ(codes(result.tracks[0].findings), (std::vector<std::string>{"silent"}));
  EXPECT_NE(result.tracks[0].findings[0].text.find("00:06:00.000"), std::string::npos);
  EXPECT_TRUE(result.findings.empty());
  EXPECT_TRUE(needs_person(result));
}

TEST_F(SurveyOf, KeepsARowForABrokenFile) {
  add("a.wav", file_of({voice()}, 10));
  add("b.wav", Error{ErrorKind::unreadable, "b.wav", "not a format we know", "convert it"});
  const Survey result = survey();
  ASSERT_EQ(names(result), (std::vector<std::string>{"a", "b"}));
  EXPECT_TRUE(result.files[1].failure);
  EXPECT_EQ(codes(result.tracks[1].findings), (std::vector<std::string>{"unreadable"}));
  EXPECT_EQ(result.tracks[1].findings[0].text, "Cannot be read: not a format we know. Convert it.");
  EXPECT_TRUE(needs_person(result));
}

TEST_F(SurveyOf, SetsTheMixAside) {
  add("guest.wav", file_of({voice()}, 10));
  add("mix.wav", file_of({voice(), voice()}, 20));
  const Survey result = survey(1);
  EXPECT_EQ(names(result), (std::vector<std::string>{"guest"}));
  ASSERT_TRUE(result.mix);
  EXPECT_EQ(result.mix->file, 1U);
  EXPECT_EQ(result.mix->levels.size(), 2U);
  EXPECT_TRUE(result.mix->signal);
}

TEST_F(SurveyOf, TellsOfAMixInWhichNothingIsHeard) {
  add("mixdown.wav", file_of({silence(), silence()}, 1));
  add("keeper.wav", file_of({voice()}, 3));
  Survey found = survey(0);
  EXPECT_EQ(codes(found.mix->findings), (std::vector<std::string>{"silent"}));
  EXPECT_TRUE(needs_person(found));
  taken_.front() = file_of({silence(), voice()}, 1);
  found = survey(0);
  EXPECT_TRUE(found.mix->findings.empty());
  EXPECT_FALSE(needs_person(found));
}

TEST_F(SurveyOf, TellsOfAMixWhoseChannelsCancel) {
  IntakeFile mix = file_of({voice(), voice()}, 10);
  mix.cancelling_share = 0.3;
  add("mixdown.wav", mix);
  add("keeper.wav", file_of({voice()}, 20));
  const Survey result = survey(0);
  ASSERT_EQ(codes(result.mix->findings), (std::vector<std::string>{"cancelling"}));
  EXPECT_EQ(result.mix->findings[0].text.find("In 30 % of its sound"), 0U);
  EXPECT_TRUE(needs_person(result));
}

TEST_F(SurveyOf, TellsOfZerosThatBreakIntoTheMix) {
  const intake::ZeroRun hole{{48000 * 61}, {48000 * 3}, true, true};
  const intake::ZeroRun pause{{48000 * 90}, {48000 * 3}, false, false};
  IntakeFile mix = file_of({voice(), voice()}, 10);
  mix.channels[0].zero_runs = {hole, pause};
  mix.channels[1].zero_runs = {pause};
  add("mixdown.wav", mix);
  add("keeper.wav", file_of({voice()}, 20));
  EXPECT_FALSE(needs_person(survey(0)));  // one channel goes on
  taken_[0]->channels[1].zero_runs = {hole, pause};
  const Survey result = survey(0);
  ASSERT_EQ(codes(result.mix->findings), (std::vector<std::string>{"dropout"}));
  const Finding& finding = result.mix->findings[0];
  EXPECT_NE(finding.text.find("in 1 place, at 00:01:01.000, about 3000 ms in all"),
            std::string::npos)
      << finding.text;
  EXPECT_DOUBLE_EQ(finding.at_s.value(), 61.0);
  EXPECT_TRUE(needs_person(result));
  taken_[0]->notes.put_in = {48000 * 3};  // then time stamps tell of it
  EXPECT_TRUE(survey(0).mix->zero_runs.empty());
}

TEST_F(SurveyOf, FindsCopiesOfTracksAndOfTheMix) {
  add("guest.wav", file_of({voice()}, 10));
  add("guest-copy.wav", file_of({voice()}, 10));
  add("mix.wav", file_of({voice()}, 30));
  add("mix-copy.wav", file_of({voice()}, 30));
  add("other.wav", file_of({voice()}, 40));
  IntakeFile shorter = file_of({voice()}, 10);
  shorter.length.n -= 1;
  add("shorter.wav", shorter);
  const Survey result = survey(2);
  ASSERT_EQ(result.tracks.size(), 5U);
  EXPECT_FALSE(result.tracks[0].copy_of);
  EXPECT_EQ(result.tracks[1].copy_of, 0U);
  EXPECT_EQ(codes(result.tracks[1].findings), (std::vector<std::string>{"duplicate"}));
  EXPECT_EQ(result.tracks[2].mix_copy, MixCopy::same_samples);
  EXPECT_EQ(codes(result.tracks[2].findings), (std::vector<std::string>{"mix-copy"}));
  EXPECT_FALSE(result.tracks[3].copy_of);
  EXPECT_FALSE(result.tracks[4].copy_of);
}

TEST_F(SurveyOf, KnowsACopyOfAnyOfTheMixsChannels) {
  add("left.wav", file_of({voice()}, 30));
  add("mix.wav", file_of({voice(), voice()}, 30));
  add("right.wav", file_of({voice()}, 31));
  const Survey result = survey(1);
  ASSERT_EQ(result.tracks.size(), 2U);
  for (const SurveyTrack& track : result.tracks) {
    EXPECT_EQ(track.mix_copy, MixCopy::same_samples) << track.name;
    EXPECT_EQ(codes(track.findings), (std::vector<std::string>{"mix-copy"}));
  }
}

TEST_F(SurveyOf, MeasuresTheCopyOfAnIgnoredTrack) {
  add("guest.wav", file_of({voice()}, 10));
  add("guest-copy.wav", file_of({voice()}, 10));
  session_.declared = {{0, 0, "", "", Role::ignore}};
  const Survey result = survey();
  EXPECT_FALSE(result.tracks[1].copy_of);
  EXPECT_TRUE(result.tracks[1].findings.empty());
}

struct CopyCase {
  const char* name;
  const char* file;
  std::int64_t frames;
  bool told_mix;
  std::optional<Role> role;
  MixCopy copy;
};

class CopiesByName : public SurveyOf, public testing::WithParamInterface<CopyCase> {};

TEST_P(CopiesByName, AreSetAsideBesideTheMix) {
  add("mixdown.wav", file_of({voice(), voice()}, 10));
  IntakeFile other = file_of({voice(), voice()}, 20);
  other.length.n = GetParam().frames;
  other.info.claimed_length = other.length;
  add(GetParam().file, other);
  if (GetParam().told_mix) session_.mix = 0;
  if (GetParam().role) session_.declared = {{1, 0, "", "", GetParam().role}};
  const Survey result = survey(0);
  const bool is_copy = GetParam().copy != MixCopy::no;
  // One row is enough for a file that nobody waits for.
  ASSERT_EQ(result.tracks.size(), is_copy ? 1U : 2U);
  EXPECT_EQ(result.tracks[0].mix_copy, GetParam().copy);
  EXPECT_EQ(codes(result.tracks[0].findings),
            is_copy ? std::vector<std::string>{"mix-copy"} : std::vector<std::string>{});
  // Only a name that nothing confirms wants a look.
  EXPECT_EQ(needs_person(result), GetParam().copy == MixCopy::mix_word);
}

INSTANTIATE_TEST_SUITE_P(
    Cases, CopiesByName,
    testing::Values(
        CopyCase{"AnotherFormat", "Mixdown.mp3", kFrames + 2000, false, {}, MixCopy::same_name},
        CopyCase{"AnotherFormatOfAToldMix", "mixdown.mp3", kFrames, true, {}, MixCopy::same_name},
        CopyCase{
            "TheNameOfTheMixOnAnotherTake", "mixdown.mp3", kFrames / 2, false, {}, MixCopy::no},
        CopyCase{"AnotherMixBesideAToldOne", "old-mix.wav", kFrames, true, {}, MixCopy::mix_word},
        CopyCase{"AnotherMixBesideOneFoundBySound", "old-mix.wav", kFrames, false, {}, MixCopy::no},
        CopyCase{"APersonAsSessionTomlSays", "old-mix.wav", kFrames, true, Role::room, MixCopy::no},
        CopyCase{"APerson", "guest.wav", kFrames, true, {}, MixCopy::no}),
    [](const auto& each) { return each.param.name; });

TEST_F(SurveyOf, GivesEqualStemsDifferentNames) {
  add("guest.flac", file_of({voice()}, 10));
  add("guest.wav", file_of({voice()}, 20));
  EXPECT_EQ(names(survey()), (std::vector<std::string>{"guest-flac", "guest-wav"}));
}

TEST_F(SurveyOf, TakesWhatSessionTomlSays) {
  add("desk.wav", file_of({voice(), voice()}, 10));
  session_.declared = {{0, 0, "", "desk", Role::room}, {0, 2, "keeper", "", Role::ignore}};
  const Survey result = survey();
  EXPECT_EQ(names(result), (std::vector<std::string>{"desk-ch1", "keeper"}));
  EXPECT_EQ(result.tracks[0].recorder, "desk");
  EXPECT_EQ(result.tracks[0].role, Role::room);
  EXPECT_EQ(result.tracks[1].recorder, "desk");
  EXPECT_EQ(result.tracks[1].role, Role::ignore);
}

TEST_F(SurveyOf, RefusesAChannelThatIsNotThere) {
  add("desk.wav", file_of({voice(), voice()}, 10));
  session_.declared = {{0, 3, "keeper", "", {}}};
  const auto result = make_survey(session_, taken_, {});
  ASSERT_FALSE(result);
  EXPECT_EQ(result.error().kind, ErrorKind::no_input);
  EXPECT_NE(result.error().what.find("channel 3"), std::string::npos);
}

struct LevelCase {
  const char* name;
  void (*change)(Levels&);
  std::vector<std::string> codes;
  bool needs_person;
};

class LevelFindings : public SurveyOf, public testing::WithParamInterface<LevelCase> {};

TEST_P(LevelFindings, TellTheChannelsState) {
  Levels levels = voice();
  GetParam().change(levels);
  add("guest.wav", file_of({levels}, 10));
  const Survey result = survey();
  EXPECT_EQ(codes(result.tracks[0].findings), GetParam().codes);
  EXPECT_EQ(needs_person(result), GetParam().needs_person);
}

INSTANTIATE_TEST_SUITE_P(
    Cases, LevelFindings,
    testing::Values(
        LevelCase{"AVoiceIsFine", [](Levels&) {}, {}, false},
        LevelCase{"ARareTalkerIsFine",
                  [](Levels& levels) {
                    levels.level_dbfs = -61.5;
                    levels.loudest_dbfs = -20.0;
                  },
                  {},
                  false},
        LevelCase{
            "AGatedStreamIsFine", [](Levels& levels) { levels.floor_dbfs = -INFINITY; }, {}, false},
        LevelCase{"OnlyHissIsDead",
                  [](Levels& levels) {
                    levels.level_dbfs = -61.0;
                    levels.loudest_dbfs = -60.0;
                  },
                  {"dead"},
                  true},
        LevelCase{"AVoiceUnderLoudHumIsAlive",
                  [](Levels& levels) {
                    levels.level_dbfs = levels.loudest_dbfs = -12.0;
                    levels.floor_dbfs = -13.0;
                    levels.hum = Hum{50.0, -13.0, -22.0, -14.0, -62.0};
                  },
                  {"hum"},
                  false},
        LevelCase{"HumAloneIsDead",
                  [](Levels& levels) {
                    levels.level_dbfs = levels.loudest_dbfs = -12.0;
                    levels.floor_dbfs = -13.0;
                    levels.hum = Hum{50.0, -13.0, -62.0, -61.0, -63.0};
                  },
                  {"dead", "hum"},
                  true},
        LevelCase{"QuietIsLowLevel",
                  [](Levels& levels) {
                    levels.level_dbfs = -58.0;
                    levels.loudest_dbfs = -50.0;
                    levels.floor_dbfs = -90.0;
                  },
                  {"low-level"},
                  false},
        LevelCase{"FlatTopsAreClipped",
                  [](Levels& levels) {
                    levels.clipped_runs = 4;
                    levels.clipped_frames = 20;
                    levels.first_clip = {48000 * 61};
                  },
                  {"clipped"},
                  false},
        LevelCase{"ZerosAmidLoudSoundAreADropout",
                  [](Levels& levels) {
                    levels.dropouts = 2;
                    levels.dropout_frames = {48000};
                    levels.first_dropout = {48000 * 61};
                  },
                  {"dropout"},
                  true},
        LevelCase{"PeaksAboveFullScaleAreOver",
                  [](Levels& levels) { levels.peak_dbfs = 3.2; },
                  {"over"},
                  false},
        LevelCase{"NothingButAConstantIsDead",
                  [](Levels& levels) {
                    levels.dc = 0.3;
                    levels.rms_dbfs = -130.0;
                    levels.level_dbfs = levels.loudest_dbfs = levels.floor_dbfs = -INFINITY;
                  },
                  {"dead"},
                  true},
        LevelCase{"AnOffsetIsDc", [](Levels& levels) { levels.dc = -0.05; }, {"dc"}, false}),
    [](const auto& each) { return each.param.name; });

TEST_F(SurveyOf, SaysThatAFileIsTooShortRatherThanNoise) {
  IntakeFile blip = file_of({voice()}, 10);
  blip.length = blip.info.claimed_length = {48000 / 25};
  for (const bool constant : {false, true}) {
    Levels& levels = blip.channels[0].levels;
    levels.level_dbfs = levels.loudest_dbfs = levels.floor_dbfs = constant ? -INFINITY : -20.0;
    taken_.clear();
    session_.files.clear();
    add("blip.wav", blip);
    const Survey result = survey();
    ASSERT_EQ(codes(result.tracks[0].findings), (std::vector<std::string>{"too-short"}));
    EXPECT_EQ(result.tracks[0].findings[0].text.find("Only 40 ms long"), 0U);
    EXPECT_TRUE(needs_person(result));
  }
}

TEST_F(SurveyOf, NeverWritesMinusInfinity) {
  // Digital silence with a rare crackle; a constant value.
  for (const double rms_dbfs : {-85.0, -130.0}) {
    Levels levels = voice();
    levels.rms_dbfs = rms_dbfs;
    levels.level_dbfs = levels.loudest_dbfs = levels.floor_dbfs = -INFINITY;
    taken_.clear();
    session_.files.clear();
    add("guest.wav", file_of({levels}, 10));
    const Finding finding = survey().tracks[0].findings.at(0);
    EXPECT_EQ(finding.code, "dead");
    EXPECT_EQ(finding.text.find("inf"), std::string::npos) << finding.text;
  }
}

TEST_F(SurveyOf, SaysWhereClippingStarts) {
  Levels levels = voice();
  levels.clipped_runs = 4;
  levels.first_clip = {48000 * 61};
  add("guest.wav", file_of({levels}, 10));
  const Finding finding = survey().tracks[0].findings.at(0);
  EXPECT_NE(finding.text.find("4 places, first at 00:01:01.000"), std::string::npos)
      << finding.text;
  EXPECT_DOUBLE_EQ(finding.at_s.value(), 61.0);
}

TEST_F(SurveyOf, ReportsAFileThatBreaksOff) {
  IntakeFile cut = file_of({voice()}, 10);
  cut.length.n = 48000 * 100;
  cut.damage =
      Error{ErrorKind::unreadable, {}, "cannot be decoded beyond frame 4800000", "copy it"};
  add("guest.wav", cut);
  const Survey result = survey();
  ASSERT_EQ(codes(result.tracks[0].findings), (std::vector<std::string>{"truncated"}));
  const std::string& text = result.tracks[0].findings[0].text;
  EXPECT_NE(text.find("00:01:40.000 of the 00:06:00.000"), std::string::npos) << text;
  EXPECT_NE(text.find("beyond frame 4800000"), std::string::npos) << text;
  EXPECT_TRUE(needs_person(result));
}

TEST_F(SurveyOf, TellsWhereSilenceStandsForLostPackets) {
  IntakeFile guest = file_of({voice()}, 10);
  guest.notes.jumps = {{{48000 * 61}, {14400}, {14400}, {}}, {{48000 * 70}, {960}, {960}, {}}};
  guest.notes.jump_count = 2;
  guest.notes.put_in = {15360};
  add("guest.webm", guest);
  const Survey result = survey();
  ASSERT_EQ(codes(result.tracks[0].findings), (std::vector<std::string>{"dropout"}));
  const Finding& finding = result.tracks[0].findings[0];
  EXPECT_NE(finding.text.find("in 2 places, the first at 00:01:01.000, 320 ms in all"),
            std::string::npos)
      << finding.text;
  EXPECT_DOUBLE_EQ(finding.at_s.value(), 61.0);
  EXPECT_TRUE(needs_person(result));
}

TEST_F(SurveyOf, TellsOfPacketsThatCameTwiceWithoutAskingForAnybody) {
  IntakeFile guest = file_of({voice()}, 10);
  guest.notes.jumps = {{{48000 * 61}, {-960}, {}, {960}}};
  guest.notes.jump_count = 1;
  guest.notes.left_out = {960};
  add("guest.webm", guest);
  const Survey result = survey();
  ASSERT_EQ(codes(result.tracks[0].findings), (std::vector<std::string>{"overlap"}));
  EXPECT_NE(result.tracks[0].findings[0].text.find("1 place, at 00:01:01.000; 20 ms"),
            std::string::npos)
      << result.tracks[0].findings[0].text;
  EXPECT_FALSE(needs_person(result));
}

struct NotedCase {
  const char* name;
  void (*spoil)(IntakeFile&);
  const char* code;
  const char* says;
  bool needs_person;
};

class NotedByTheReader : public SurveyOf, public testing::WithParamInterface<NotedCase> {};

TEST_P(NotedByTheReader, BecomesAFinding) {
  IntakeFile file = file_of({voice()}, 10);
  GetParam().spoil(file);
  add("guest.ogg", file);
  const Survey result = survey();
  ASSERT_EQ(codes(result.tracks[0].findings), (std::vector<std::string>{GetParam().code}));
  EXPECT_NE(result.tracks[0].findings[0].text.find(GetParam().says), std::string::npos)
      << result.tracks[0].findings[0].text;
  EXPECT_EQ(needs_person(result), GetParam().needs_person);
}

INSTANTIATE_TEST_SUITE_P(
    All, NotedByTheReader,
    testing::Values(NotedCase{"SamplesThatAreNoNumbers",
                              [](IntakeFile& file) {
                                file.notes.not_numbers = 7;
                                file.notes.first_not_number = {48000 * 2};
                              },
                              "not-a-number",
                              "7 of its samples are no numbers or beyond all sense, the first at "
                              "00:00:02.000",
                              true},
                    NotedCase{"AnEndThatIsNotThere",
                              [](IntakeFile& file) {
                                file.notes.breaks_off = true;
                                file.notes.lost_packets = 1;  // the piece that the end cuts
                              },
                              "truncated", "Breaks off at 00:06:00.000. What", true},
                    NotedCase{"PacketsThatCannotBeDecoded",
                              [](IntakeFile& file) {
                                file.notes.lost_packets = 3;
                                file.notes.first_loss = "words";
                              },
                              "dropout", "3 of its packets cannot be decoded (words)", true},
                    NotedCase{"AnotherStreamOfSound",
                              [](IntakeFile& file) { file.info.further_sounds = 1; },
                              "further-sound", "Holds 2 streams of sound", false}),
    [](const auto& each) { return each.param.name; });

}  // namespace
}  // namespace kilter::survey
