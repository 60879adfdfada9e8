#include "lineup_builder.h"

#include <gtest/gtest.h>

namespace kilter::commands {
namespace {

using survey::Survey;
using survey::SurveyFile;
using survey::SurveyTrack;
using sync::TrackPlacing;

constexpr double kLength_s = 100.0;

Finding finding(const char* code) {
  Finding result;
  result.code = code;
  return result;
}

/// A mix, and files with a mono track each.
class LineupOf : public testing::Test {
 protected:
  LineupOf() {
    survey_.session = "lighthouse";
    survey_.files.push_back(file("mixdown.wav"));
    survey_.mix.emplace();
    survey_.mix->signal = sound();
  }

  static SurveyFile file(const std::string& name) {
    return {name,
            {"WAV 24-bit", {48000.0}, 1, {4800000}, false},
            {4800000},
            std::nullopt,
            {{name, {4800000}}},
            std::nullopt};
  }
  static std::shared_ptr<const AnalysisSignal> sound() {
    return std::make_shared<MemorySignal>(std::vector<float>(16, 0.1F));
  }
  SurveyTrack& add(const std::string& name) {
    survey_.files.push_back(file(name + ".wav"));
    SurveyTrack track;
    track.name = name;
    track.file = survey_.files.size() - 1;
    track.levels.emplace();
    track.signal = sound();
    return survey_.tracks.emplace_back(std::move(track));
  }
  static TrackPlacing placed(int recorder, bool remote = false) {
    TrackPlacing placing;
    placing.standing = Standing::firm;
    placing.map = *TimeMap::line(1.5, 10.0, kLength_s, 2.0);
    placing.uncertainty_us = 2.0;
    placing.recorder = recorder;
    placing.remote = remote;
    placing.windows_measured = 9;
    placing.windows_used = 8;
    return placing;
  }
  /// Asserts nothing: for surveys that can be aligned.
  AlignInput input() const {
    auto made = align_input(survey_);
    return made ? *made : AlignInput{};
  }
  static sync::Alignment alignment_of(const std::vector<TrackPlacing>& placings) {
    sync::Alignment alignment;
    alignment.tracks = placings;
    alignment.mix_spans = {{0.0, kLength_s, 0.0, kLength_s, 0.0}};
    return alignment;
  }
  Lineup lineup(const std::vector<TrackPlacing>& placings) const {
    return build_lineup(survey_, input(), alignment_of(placings));
  }

  Survey survey_;
};

TEST_F(LineupOf, TakesTheMixAsItsTimeline) {
  add("keeper");
  const Lineup result = lineup({placed(0)});
  EXPECT_EQ(result.session, "lighthouse");
  EXPECT_EQ(result.timeline_clock, "mix");
  EXPECT_EQ(result.timeline_rate_hz, 48000.0);
  EXPECT_EQ(result.from_s, 0.0);
  EXPECT_EQ(result.to_s, kLength_s);
  ASSERT_TRUE(result.mix);
  EXPECT_EQ(result.mix->file, "mixdown.wav");
  EXPECT_EQ(result.mix->frames, 4800000);
  ASSERT_EQ(result.mix->spans.size(), 1U);
  EXPECT_EQ(result.mix->spans[0].to_s, kLength_s);
}

TEST_F(LineupOf, TakesOverWhatTheEstimatorFound) {
  add("keeper");
  add("guest");
  TrackPlacing guest = placed(1, true);
  guest.inverted = true;
  survey_.tracks[1].findings = {finding("clipped")};
  const Lineup result = lineup({placed(0), guest});
  ASSERT_EQ(result.tracks.size(), 2U);
  EXPECT_EQ(result.tracks[0].role, Role::room);
  EXPECT_EQ(result.tracks[0].recorder, "A");
  const LineupTrack& track = result.tracks[1];
  EXPECT_EQ(track.role, Role::remote);
  EXPECT_EQ(track.recorder, "B");
  EXPECT_EQ(track.standing, Standing::firm);
  EXPECT_TRUE(track.inverted);
  EXPECT_DOUBLE_EQ(track.map.value().start_s(), 1.5);
  EXPECT_EQ(track.uncertainty_us, 2.0);
  EXPECT_EQ(track.windows_used, 8);
  ASSERT_EQ(track.parts.size(), 1U);
  EXPECT_EQ(track.parts[0].file, "guest.wav");
  EXPECT_EQ(track.parts[0].frames, 4800000);
  ASSERT_EQ(track.findings.size(), 2U);
  EXPECT_EQ(track.findings[0].code, "clipped");
  EXPECT_EQ(track.findings[1].code, "inverted");
  EXPECT_FALSE(needs_person(result));
}

TEST_F(LineupOf, GivesRecordersLettersInOrderOfAppearance) {
  for (const char* name : {"a", "b", "c", "d"}) add(name);
  const Lineup result = lineup({placed(2), placed(0), placed(2), placed(1)});
  std::string recorders;
  for (const LineupTrack& track : result.tracks) recorders += track.recorder;
  EXPECT_EQ(recorders, "ABAC");
}

TEST_F(LineupOf, TakesARecordersNameWhereSoundAgrees) {
  for (const char* name : {"a", "b", "c", "d"}) add(name);
  survey_.tracks[0].recorder = survey_.tracks[1].recorder = "desk";
  // Said to share a recorder, but heard on two.
  survey_.tracks[2].recorder = survey_.tracks[3].recorder = "field";
  const Lineup result = lineup({placed(0), placed(0), placed(1), placed(2)});
  EXPECT_EQ(result.tracks[0].recorder, "desk");
  EXPECT_EQ(result.tracks[1].recorder, "desk");
  EXPECT_EQ(result.tracks[2].recorder, "B");
  EXPECT_EQ(result.tracks[3].recorder, "C");
}

TEST_F(LineupOf, BlamesTheMixForARateThatSeveralRecordersSeemToStateWrongly) {
  enum class Whose { mix, unknown, tracks };
  struct Row {
    const char* name;
    std::vector<std::optional<double>> rates_hz;  // at which each seems to be recorded
    std::vector<int> recorders;
    Whose whose;
  };
  for (const Row& row :
       {Row{"all alike", {44100.0, 44100.0, 44100.0}, {0, 0, 1}, Whose::mix},
        Row{"one recorder", {44100.0, 44100.0, 44100.0}, {0, 0, 0}, Whose::unknown},
        Row{"one is right", {44100.0, 44100.0, std::nullopt}, {0, 0, 1}, Whose::tracks},
        Row{"differently", {44100.0, 44100.0, 32000.0}, {0, 0, 1}, Whose::tracks}}) {
    survey_.tracks.clear();
    std::vector<TrackPlacing> placings;
    for (std::size_t i = 0; i < row.rates_hz.size(); ++i) {
      add("track" + std::to_string(i));
      placings.push_back(placed(row.recorders[i]));
      if (!row.rates_hz[i]) continue;
      placings.back().findings.push_back(finding("wrong-rate"));
      placings.back().findings.back().rate_hz = row.rates_hz[i];
    }
    const Lineup lineup = build_lineup(survey_, input(), alignment_of(placings));
    const bool doubted = row.whose != Whose::tracks;
    EXPECT_EQ(holds(lineup.findings, "wrong-rate"), doubted) << row.name;
    EXPECT_EQ(needs_person(lineup), doubted) << row.name;
    if (!doubted) continue;
    EXPECT_NEAR(*lineup.findings.back().rate_hz, 48000.0 * 48000.0 / 44100.0, 1e-6);
    EXPECT_NE(lineup.findings.back().text.find("plays too slow"), std::string::npos);
    EXPECT_EQ(lineup.tracks[0].findings[0].text.empty(), row.whose == Whose::unknown) << row.name;
  }
}

TEST_F(LineupOf, SaysThatAnUnplacedTrackIsUnmatched) {
  add("stranger");
  const Lineup result = lineup({TrackPlacing{}});
  EXPECT_EQ(result.tracks[0].standing, Standing::unplaced);
  ASSERT_EQ(result.tracks[0].findings.size(), 1U);
  EXPECT_EQ(result.tracks[0].findings[0].code, "unmatched");
  EXPECT_TRUE(needs_person(result));
}

/// Placed elsewhere than placed() does.
TrackPlacing placed_at(double start_s, double length_s) {
  TrackPlacing placing;
  placing.standing = Standing::firm;
  placing.map = *TimeMap::line(start_s, 10.0, length_s, 2.0);
  placing.recorder = 0;
  return placing;
}

TEST_F(LineupOf, TellsTakesOfOneVoice) {
  for (const char* name : {"harbour", "harbour-2", "harbour-3", "guest-1", "guest-2"}) add(name);
  const Lineup result = lineup({placed_at(0.0, 40.0), placed_at(50.0, 30.0), placed_at(60.0, 30.0),
                                placed_at(0.0, 40.0), placed_at(50.0, 40.0)});
  EXPECT_EQ(result.tracks[0].voice, "harbour");
  EXPECT_EQ(result.tracks[1].voice, "harbour");
  // Two at once are two people, and numbers of guests count people.
  for (const std::size_t other : {2U, 3U, 4U}) EXPECT_EQ(result.tracks[other].voice, "") << other;
}

const Finding* find(const LineupTrack& track, const char* code) {
  for (const Finding& each : track.findings)
    if (each.code == code) return &each;
  return nullptr;
}

TEST_F(LineupOf, HoldsATrackWhereSessionTomlOrders) {
  SurveyTrack& track = add("keeper");
  track.start_s = 2.0;
  track.pinned = true;
  TrackPlacing placing = placed(0);
  placing.standing = Standing::shaky;
  const LineupTrack result = lineup({placing}).tracks[0];
  EXPECT_DOUBLE_EQ(result.map.value().start_s(), 2.0);
  EXPECT_NEAR(result.map.value().drift_ppm(), 10.0, 1e-6);
  EXPECT_EQ(result.standing, Standing::firm);
  const Finding* told = find(result, "told-start");
  ASSERT_NE(told, nullptr);
  EXPECT_NE(told->text.find("500 ms earlier"), std::string::npos) << told->text;
  EXPECT_EQ(told->line_s, 2.0);
  EXPECT_EQ(result.uncertainty_us, 0.0);
}

TEST_F(LineupOf, TellsByHowMuchAnOrderContradictsSoundThatIsSure) {
  SurveyTrack& track = add("keeper");
  track.start_s = 2.0;
  track.pinned = true;
  TrackPlacing placing = placed(0);
  placing.standing = Standing::firm;
  const LineupTrack result = lineup({placing}).tracks[0];
  EXPECT_NEAR(result.uncertainty_us, 500e3, 1.0);
  for (const Span& span : result.map.value().spans()) EXPECT_NEAR(span.uncertainty_us, 500e3, 1.0);
}

TEST_F(LineupOf, HoldsATrackThatNoSoundPlacesWhereSessionTomlOrders) {
  SurveyTrack& track = add("keeper");
  track.start_s = -3.0;
  track.pinned = true;
  const LineupTrack result = lineup({TrackPlacing{}}).tracks[0];
  EXPECT_DOUBLE_EQ(result.map.value().start_s(), -3.0);
  EXPECT_EQ(result.standing, Standing::firm);
  EXPECT_EQ(find(result, "unmatched"), nullptr);
}

TEST_F(LineupOf, UsesAHintOnlyWhereTheSoundTellsNothing) {
  add("keeper").start_s = 2.0;
  add("guest").start_s = 60.0;
  add("cook").start_s = 7.0;
  const Lineup result = lineup({placed(0), placed(1), TrackPlacing{}});
  EXPECT_DOUBLE_EQ(result.tracks[0].map.value().start_s(), 1.5);
  EXPECT_EQ(find(result.tracks[0], "told-start"), nullptr);
  EXPECT_DOUBLE_EQ(result.tracks[1].map.value().start_s(), 1.5);
  ASSERT_NE(find(result.tracks[1], "told-start"), nullptr);
  EXPECT_FALSE(find(result.tracks[1], "told-start")->line_s);
  EXPECT_DOUBLE_EQ(result.tracks[2].map.value().start_s(), 7.0);
  EXPECT_EQ(result.tracks[2].standing, Standing::shaky);
}

TEST_F(LineupOf, TellsOfATimeStampThatContradictsTheSound) {
  const auto stamped = [&](const char* name, double of_day_s) {
    survey_.files[add(name).file].stamp =
        media::StartStamp{static_cast<std::int64_t>(of_day_s * 48000.0), {48000.0}, ""};
  };
  stamped("keeper", 36000.0);
  stamped("mate", 36001.0);   // its clock is read to a second
  stamped("guest", 36200.0);  // 200 s off
  const Lineup result = lineup({placed(0), placed(0), placed(1)});
  EXPECT_EQ(find(result.tracks[0], "start-stamp"), nullptr);
  EXPECT_EQ(find(result.tracks[1], "start-stamp"), nullptr);
  const Finding* told = find(result.tracks[2], "start-stamp");
  ASSERT_NE(told, nullptr);
  EXPECT_NE(told->text.find("00:03:20.000 later"), std::string::npos) << told->text;
  EXPECT_DOUBLE_EQ(result.tracks[2].map.value().start_s(), 1.5);
}

TEST_F(LineupOf, KeepsSilentAndBrokenTracksWithoutMeasuringThem) {
  add("keeper");
  SurveyTrack& silent = add("silent");
  silent.signal.reset();
  silent.findings = {finding("silent")};
  survey_.files[silent.file].length = {4000000};
  SurveyTrack& broken = add("broken");
  broken.signal.reset();
  broken.levels.reset();
  broken.findings = {finding("unreadable")};
  survey_.files[broken.file].failure = Error{};
  survey_.files[broken.file].length = {};
  survey_.files[broken.file].parts = {{"broken.wav", {}}};
  EXPECT_EQ(input().survey_tracks, (std::vector<std::size_t>{0}));
  const Lineup result = lineup({placed(0)});
  ASSERT_EQ(result.tracks.size(), 3U);
  EXPECT_EQ(result.tracks[1].standing, Standing::unplaced);
  EXPECT_EQ(result.tracks[1].findings[0].code, "silent");
  EXPECT_EQ(result.tracks[2].findings[0].code, "unreadable");
  EXPECT_EQ(result.tracks[2].frames(), 0);
  EXPECT_TRUE(needs_person(result));
}

/// A track that says nothing, of a length and rate of its own unless a test says otherwise.
class SilentSibling : public LineupOf {
 protected:
  SilentSibling() {
    add("keeper");
    add("mate");
    SurveyTrack& silent = add("silent");
    silent.signal.reset();
    silent.findings = {finding("silent")};
  }
  const LineupTrack& placed_beside(const TrackPlacing& keeper, const TrackPlacing& mate) {
    result_ = lineup({keeper, mate});
    return result_.tracks[2];
  }
  SurveyFile& silent_file() { return survey_.files[survey_.tracks[2].file]; }

 private:
  Lineup result_;
};

TEST_F(SilentSibling, OfTheSameLengthIsShaky) {
  const LineupTrack& track = placed_beside(placed(0), placed(0));
  EXPECT_EQ(track.standing, Standing::shaky);
  EXPECT_EQ(track.recorder, "A");
  EXPECT_DOUBLE_EQ(track.map.value().start_s(), 1.5);
  EXPECT_EQ(track.uncertainty_us, 2.0);
  ASSERT_EQ(track.findings.size(), 2U);
  EXPECT_EQ(track.findings[1].code, "sibling-placed");
  EXPECT_NE(track.findings[1].text.find("\"keeper\""), std::string::npos);
}

TEST_F(SilentSibling, OfTheSameFileIsFirm) {
  survey_.tracks[2].file = survey_.tracks[1].file;
  survey_.tracks[2].channel = 2;
  // The other file is as long, but lies elsewhere: the same file knows better.
  TrackPlacing keeper = placed(1);
  keeper.map = *TimeMap::line(7.0, 3.0, kLength_s, 2.0);
  const LineupTrack& track = placed_beside(keeper, placed(0));
  EXPECT_EQ(track.standing, Standing::firm);
  EXPECT_DOUBLE_EQ(track.map.value().start_s(), 1.5);
  EXPECT_NE(track.findings[1].text.find("\"mate\""), std::string::npos);
}

TEST_F(SilentSibling, OfAToldRecorderIsFirmWhateverItsLength) {
  for (const std::size_t i : {std::size_t{1}, std::size_t{2}}) survey_.tracks[i].recorder = "desk";
  silent_file().length = {4000000};
  const LineupTrack& track = placed_beside(placed(0), placed(1));
  EXPECT_EQ(track.standing, Standing::firm);
  EXPECT_EQ(track.recorder, "desk");
}

TEST_F(SilentSibling, OfAShakyTrackIsShaky) {
  survey_.tracks[2].file = survey_.tracks[1].file;
  TrackPlacing mate = placed(0);
  mate.standing = Standing::shaky;
  EXPECT_EQ(placed_beside(placed(0), mate).standing, Standing::shaky);
}

TEST_F(SilentSibling, StaysUnplacedWhereSiblingsDisagreeOrThereAreNone) {
  EXPECT_FALSE(placed_beside(placed(0), placed(1)).map) << "two recorders";
  TrackPlacing later = placed(0);
  later.map = *TimeMap::line(1.6, 10.0, kLength_s, 2.0);
  EXPECT_FALSE(placed_beside(placed(0), later).map) << "two lines";
  EXPECT_FALSE(placed_beside(TrackPlacing{}, TrackPlacing{}).map) << "none is placed";
  silent_file().length = {4799999};
  EXPECT_FALSE(placed_beside(placed(0), placed(0)).map) << "a frame shorter";
  silent_file().length = {4800000};
  silent_file().info.rate.hz = 44100.0;
  EXPECT_FALSE(placed_beside(placed(0), placed(0)).map) << "another rate";
  silent_file().info.rate.hz = 48000.0;
  survey_.tracks[0].recorder = survey_.tracks[1].recorder = "desk";
  survey_.tracks[2].recorder = "field";
  EXPECT_FALSE(placed_beside(placed(0), placed(0)).map) << "another recorder, as told";
}

TEST_F(SilentSibling, MayAlsoBeADeadInputThatFitsNowhere) {
  survey_.tracks[2].signal = sound();
  survey_.tracks[2].findings = {finding("dead")};
  const Lineup result = lineup({placed(0), placed(0), TrackPlacing{}});
  EXPECT_EQ(result.tracks[2].standing, Standing::shaky);
  ASSERT_EQ(result.tracks[2].findings.size(), 2U);  // and not "unmatched": it has a place now
  EXPECT_EQ(result.tracks[2].findings[1].code, "sibling-placed");
}

TEST_F(SilentSibling, IsNoTrackThatSoundsAndFitsNowhere) {
  survey_.tracks[2].signal = sound();
  survey_.tracks[2].findings.clear();
  const Lineup result = lineup({placed(0), placed(0), TrackPlacing{}});
  EXPECT_EQ(result.tracks[2].standing, Standing::unplaced);
}

TEST_F(LineupOf, PlacesCopiesLikeTheirOriginals) {
  add("keeper");
  add("keeper-copy").copy_of = 0;
  add("mix-copy").mix_copy = survey::MixCopy::same_samples;
  EXPECT_EQ(input().tracks.size(), 1U);
  const Lineup result = lineup({placed(0)});
  ASSERT_EQ(result.tracks.size(), 3U);
  EXPECT_EQ(result.tracks[1].standing, Standing::firm);
  EXPECT_EQ(result.tracks[1].map.value().start_s(), result.tracks[0].map.value().start_s());
  EXPECT_EQ(result.tracks[1].recorder, "A");
  EXPECT_EQ(result.tracks[2].role, Role::mix);
  EXPECT_EQ(result.tracks[2].map.value().start_s(), 0.0);
}

TEST_F(LineupOf, DoesNotMeasureCopiesOfTheMix) {
  using survey::MixCopy;
  add("keeper");
  add("mixdown").mix_copy = MixCopy::same_name;
  EXPECT_EQ(input().tracks.size(), 1U);
  const Lineup certain = lineup({placed(0)});
  EXPECT_EQ(certain.tracks[1].role, Role::mix);
  EXPECT_EQ(certain.tracks[1].standing, Standing::unplaced);
  EXPECT_FALSE(needs_person(certain));
  // Left out for its name alone: somebody has to say that this is right.
  survey_.tracks[1].mix_copy = MixCopy::mix_word;
  EXPECT_EQ(input().tracks.size(), 1U);
  EXPECT_TRUE(needs_person(lineup({placed(0)})));
}

TEST_F(LineupOf, TakesACopyOfTheMixThatTheEstimatorHeard) {
  add("keeper");
  add("cloud");
  TrackPlacing copy;
  copy.findings = {finding("mix-copy")};
  const Lineup result = lineup({placed(0), copy});
  EXPECT_EQ(result.tracks[1].role, Role::mix);
  EXPECT_FALSE(needs_person(result));
}

TEST_F(LineupOf, TurnsNoStemThatIsNotThere) {
  add("keeper");
  add("cloud");
  TrackPlacing copy = placed(-1);
  copy.inverted = true;
  copy.findings = {finding("mix-copy")};
  const Lineup result = lineup({placed(0), copy});
  ASSERT_EQ(result.tracks[1].findings.size(), 1U) << result.tracks[1].findings.back().text;
  // A person's word that it is a microphone outweighs the sound.
  survey_.tracks[1].role = Role::room;
  const Lineup told = lineup({placed(0), copy});
  EXPECT_TRUE(told.tracks[1].is_used());
  EXPECT_EQ(told.tracks[1].findings.back().code, "inverted");
}

TEST_F(LineupOf, TreatsACopyThatWasHeardAsItDoesOneOfEqualSamples) {
  add("keeper");
  add("same-samples").copy_of = 0;
  add("louder");
  TrackPlacing heard = placed(0);
  heard.windows_measured = heard.windows_used = 0;
  heard.findings = {finding("duplicate")};
  const Lineup result = lineup({placed(0), heard});
  for (const std::size_t i : {std::size_t{1}, std::size_t{2}}) {
    EXPECT_TRUE(result.tracks[i].is_used());
    EXPECT_EQ(result.tracks[i].standing, Standing::firm);
    EXPECT_EQ(result.tracks[i].recorder, "A");
  }
  EXPECT_FALSE(needs_person(result));
}

struct AskCase {
  const char* name;
  const char* code;
  const char* cause;
  bool asks;
};

class FindingOfATrack : public LineupOf, public testing::WithParamInterface<AskCase> {};

TEST_P(FindingOfATrack, AsksForAPersonWhereNoStemMendsIt) {
  add("keeper");
  TrackPlacing placing = placed(0);
  placing.findings = {finding(GetParam().code)};
  if (*GetParam().cause != 0) placing.findings[0].cause = GetParam().cause;
  EXPECT_EQ(needs_person(lineup({placing})), GetParam().asks);
}

INSTANTIATE_TEST_SUITE_P(Codes, FindingOfATrack,
                         testing::Values(AskCase{"SeamOfTheFile", "seam", "track", true},
                                         AskCase{"SeamOfTheRecorder", "seam", "recorder", true},
                                         AskCase{"SeamOfTheStream", "seam", "stream", false},
                                         AskCase{"WrongRate", "wrong-rate", "", false},
                                         AskCase{"Excursion", "excursion", "", false},
                                         AskCase{"Leak", "leak", "", false},
                                         AskCase{"Duplicate", "duplicate", "", false}),
                         [](const auto& each) { return each.param.name; });

TEST_F(LineupOf, AsksForAPersonWhereTheMixOrTheSessionLacksSomething) {
  add("keeper");
  sync::Alignment music = alignment_of({placed(0)});
  music.findings = {finding("mix-music")};
  EXPECT_FALSE(needs_person(build_lineup(survey_, input(), music)));
  sync::Alignment missing = alignment_of({placed(0)});
  missing.findings = {finding("missing-voice")};
  EXPECT_TRUE(needs_person(build_lineup(survey_, input(), missing)));
  sync::Alignment torn = alignment_of({placed(0)});
  torn.mix_findings = {finding("mix-seam")};
  torn.mix_spans = {{0.0, 50.0, 0.0, 50.0, 0.0}, {50.0, 98.0, 52.0, kLength_s, 0.0}};
  const Lineup result = build_lineup(survey_, input(), torn);
  EXPECT_TRUE(needs_person(result));
  EXPECT_EQ(result.to_s, kLength_s);
  ASSERT_EQ(result.mix->spans.size(), 2U);
  EXPECT_EQ(result.mix->findings.back().code, "mix-seam");
}

/// Three tracks and no mix, the first one's clock the timeline.
class LineupWithoutAMix : public LineupOf {
 protected:
  LineupWithoutAMix() {
    survey_.mix.reset();
    survey_.findings = {finding("no-mix")};
    for (const char* name : {"keeper", "mate", "pilot"}) add(name);
    placing_.clock = 0;
    placing_.tracks = {placed(-1), placed(-1), TrackPlacing{}};
    placing_.tracks[0].map = *TimeMap::line(0.0, 0.0, kLength_s, 0.0);
    placing_.tracks[0].uncertainty_us = 0.0;
    placing_.tracks[1].standing = Standing::shaky;
    placing_.tracks[1].uncertainty_us = 1500.0;
  }
  Lineup built() const {
    auto made = build_lineup(survey_, input(), placing_);
    EXPECT_TRUE(made) << made.error().what;
    return made ? *made : Lineup{};
  }
  sync::NoMixPlacing placing_;
};

TEST_F(LineupWithoutAMix, RunsOnATracksClockOverAllThatWasRecorded) {
  survey_.files[1].info.rate.hz = 44100.0;
  ASSERT_TRUE(has_no_mix(survey_));
  const Lineup result = built();
  EXPECT_FALSE(result.mix);
  EXPECT_EQ(result.timeline_clock, "keeper");
  EXPECT_EQ(result.timeline_rate_hz, 44100.0);
  EXPECT_EQ(result.from_s, 0.0);
  EXPECT_DOUBLE_EQ(result.to_s, placing_.tracks[1].map->spans()[0].line_to_s);
  EXPECT_EQ(result.tracks[0].standing, Standing::firm);
  EXPECT_TRUE(needs_person(result));
}

TEST_F(LineupWithoutAMix, SaysOfEveryTrackHowFarItCanBeTrusted) {
  const Lineup result = built();
  EXPECT_TRUE(result.tracks[0].findings.empty());
  ASSERT_EQ(result.tracks[1].findings.size(), 1U);
  EXPECT_NE(result.tracks[1].findings[0].text.find("\"keeper\""), std::string::npos);
  EXPECT_NE(result.tracks[1].findings[0].text.find("1.5 ms"), std::string::npos);
  ASSERT_EQ(result.tracks[2].findings.size(), 1U);
  EXPECT_EQ(result.tracks[2].findings[0].code, "unmatched");
  ASSERT_EQ(result.findings.size(), 1U);
  EXPECT_NE(result.findings[0].text.find("on the clock of \"keeper\""), std::string::npos);
}

TEST_F(LineupWithoutAMix, KeepsTheChannelsOfAFileTogether) {
  survey_.tracks[2].file = survey_.tracks[0].file;
  const Lineup result = built();
  EXPECT_EQ(result.tracks[2].standing, Standing::firm);
  EXPECT_EQ(result.tracks[2].map.value().start_s(), 0.0);
  survey_.tracks[2].file = survey_.tracks[1].file;
  EXPECT_EQ(built().tracks[2].standing, Standing::shaky);
  EXPECT_DOUBLE_EQ(built().tracks[2].map.value().start_s(), 1.5);
}

TEST_F(LineupWithoutAMix, IsNoneWhereNothingIsSharedOrSeveralMixesAreThere) {
  placing_.clock = -1;
  const auto made = build_lineup(survey_, input(), placing_);
  ASSERT_FALSE(made);
  EXPECT_EQ(made.error().kind, ErrorKind::no_input);
  survey_.findings = {finding("several-mixes")};
  EXPECT_FALSE(has_no_mix(survey_));
  EXPECT_FALSE(align_input(survey_));
}

TEST_F(LineupOf, TellsWhenARecorderRunsOnTwoClocks) {
  for (const char* name : {"a", "b", "c", "d"}) add(name);
  for (SurveyTrack& track : survey_.tracks) track.recorder = "desk";
  survey_.tracks[3].recorder = "guest";
  const Lineup result = lineup({placed(0), placed(1), placed(0), placed(2)});
  ASSERT_EQ(result.findings.size(), 1U);
  EXPECT_EQ(result.findings[0].code, "two-clocks");
  EXPECT_NE(result.findings[0].text.find("\"desk\""), std::string::npos);
  EXPECT_NE(result.findings[0].text.find("clock A (a, c), clock B (b)"), std::string::npos)
      << result.findings[0].text;
  EXPECT_TRUE(lineup({placed(0), placed(0), placed(0), placed(1)}).findings.empty());
  // A track that is not placed says nothing of clocks.
  EXPECT_TRUE(lineup({placed(0), TrackPlacing{}, placed(0), placed(1)}).findings.empty());
}

TEST_F(LineupOf, GivesEveryTrackThatIsNotFirmASentence) {
  add("keeper");
  add("stranger");
  TrackPlacing shaky = placed(0);
  shaky.standing = Standing::shaky;
  shaky.findings = {finding("thin-evidence")};
  shaky.findings[0].text = "Only 2 windows. Listen to it.";
  for (const std::size_t original : {std::size_t{0}, std::size_t{1}}) {
    SurveyTrack& copy = add("copy-" + std::to_string(original));
    copy.copy_of = original;
    copy.findings = {finding("duplicate")};
    copy.findings[0].text = "Holds the same samples. What is said of that one holds for it too.";
  }
  const Lineup result = lineup({shaky, TrackPlacing{}});
  ASSERT_EQ(result.tracks.size(), 4U);
  for (const LineupTrack& track : result.tracks) {
    EXPECT_NE(track.standing, Standing::firm) << track.name;
    ASSERT_FALSE(track.findings.empty()) << track.name;
    EXPECT_FALSE(track.findings[0].text.empty()) << track.name;
  }
}

TEST_F(LineupOf, AsksNobodyToLookAtWhatIsLeftOutAsTold) {
  add("keeper");
  Lineup result = lineup({placed(0)});
  result.tracks.push_back({});  // as a lineup that a person edited may hold it
  EXPECT_TRUE(needs_person(result));
  result.tracks.back().role = Role::ignore;
  EXPECT_FALSE(needs_person(result));
}

TEST_F(LineupOf, LeavesIgnoredTracksOut) {
  add("scratch").role = Role::ignore;
  add("keeper");
  EXPECT_EQ(input().survey_tracks, (std::vector<std::size_t>{1}));
  const Lineup result = lineup({placed(0)});
  ASSERT_EQ(result.tracks.size(), 1U);
  EXPECT_EQ(result.tracks[0].name, "keeper");
}

struct NoInputCase {
  const char* name;
  void (*spoil)(Survey&);
  const char* what;
};

class NothingToAlign : public LineupOf, public testing::WithParamInterface<NoInputCase> {};

TEST_P(NothingToAlign, IsRefusedWithTheReason) {
  add("keeper");
  GetParam().spoil(survey_);
  const auto made = align_input(survey_);
  ASSERT_FALSE(made);
  EXPECT_EQ(made.error().kind, ErrorKind::no_input);
  EXPECT_NE(made.error().what.find(GetParam().what), std::string::npos) << made.error().what;
}

INSTANTIATE_TEST_SUITE_P(
    Cases, NothingToAlign,
    testing::Values(NoInputCase{"NoMix", [](Survey& survey) { survey.mix.reset(); }, "not known"},
                    NoInputCase{"BrokenMix",
                                [](Survey& survey) { survey.files[0].failure = Error{}; },
                                "cannot be read"},
                    NoInputCase{"SilentMix", [](Survey& survey) { survey.mix->signal.reset(); },
                                "nothing but silence"},
                    NoInputCase{"SilentTracks",
                                [](Survey& survey) { survey.tracks[0].signal.reset(); },
                                "no track that sounds"}),
    [](const auto& each) { return each.param.name; });

TEST(Letters, GoOnBehindZ) {
  EXPECT_EQ(letters(0), "A");
  EXPECT_EQ(letters(25), "Z");
  EXPECT_EQ(letters(26), "AA");
  EXPECT_EQ(letters(27), "AB");
  EXPECT_EQ(letters(701), "ZZ");
  EXPECT_EQ(letters(702), "AAA");
}

}  // namespace
}  // namespace kilter::commands
