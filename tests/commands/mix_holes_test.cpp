#include "mix_holes.h"

#include <gtest/gtest.h>

#include "support/sound_files.h"

namespace kilter::commands {
namespace {

using intake::ZeroRun;

constexpr double kLength_s = 60.0;
constexpr double kStart_s = 2.0;  // of the track, on the timeline

class UnreadableSignal final : public AnalysisSignal {
 public:
  std::int64_t frames() const override { return 16000 * 60; }
  Result<void> read(std::int64_t /*first*/, std::span<float> /*out*/) const override {
    return Error{ErrorKind::unreadable, {}, "cannot be read", ""};
  }
};

/// A mix and a keeper who talks on the timeline from 20 to 30 s and from 40 to 50 s.
class MixHoles : public testing::Test {
 protected:
  MixHoles() {
    test::Samples samples = test::noise(static_cast<std::size_t>(16000.0 * kLength_s), 1e-4F, 1);
    for (const double from_s : {20.0, 40.0}) {
      const test::Samples talk = test::noise(160000, 0.2F, 2);
      std::copy(talk.begin(), talk.end(),
                samples.begin() + static_cast<std::ptrdiff_t>(16000.0 * (from_s - kStart_s)));
    }
    survey_.files.push_back(file("mixdown.wav"));
    survey_.files.push_back(file("keeper.wav"));
    survey_.mix.emplace();
    survey::SurveyTrack track;
    track.name = "keeper";
    track.file = 1;
    track.levels.emplace();
    track.levels->loudest_dbfs = -18.7;
    track.levels->floor_dbfs = -84.8;
    track.signal = std::make_shared<MemorySignal>(std::move(samples));
    survey_.tracks.push_back(track);
    lineup_.mix.emplace();
    lineup_.mix->spans = {{0.0, kLength_s, 0.0, kLength_s, 0.0}};
    LineupTrack& placed = lineup_.tracks.emplace_back();
    placed.name = "keeper";
    placed.standing = Standing::firm;
    placed.map = *TimeMap::line(kStart_s, 0.0, kLength_s, 2.0);
  }
  static survey::SurveyFile file(const std::string& name) {
    return {name,         {"WAV 24-bit", {48000.0}, 1, {2880000}, false},
            {2880000},    std::nullopt,
            {{name, {}}}, std::nullopt};
  }
  void add_run(double from_s, double length_s, bool loud_before, bool loud_after) {
    const auto frames = [](double s) { return Frames{static_cast<std::int64_t>(48000.0 * s)}; };
    survey_.mix->zero_runs.push_back({frames(from_s), frames(length_s), loud_before, loud_after});
    Finding by_the_mix_alone;
    by_the_mix_alone.code = "dropout";
    by_the_mix_alone.at_s = from_s;
    lineup_.mix->findings = {by_the_mix_alone};
  }
  const std::vector<Finding>& judged() {
    EXPECT_TRUE(judge_mix_holes(survey_, lineup_));
    return lineup_.mix->findings;
  }

  survey::Survey survey_;
  Lineup lineup_;
};

TEST_F(MixHoles, AreToldWithWhoTalksThere) {
  add_run(22.0, 3.0, true, true);
  ASSERT_EQ(judged().size(), 1U);
  const Finding& finding = lineup_.mix->findings[0];
  EXPECT_EQ(finding.code, "dropout");
  EXPECT_DOUBLE_EQ(finding.at_s.value(), 22.0);
  EXPECT_NE(finding.text.find("in 1 place, at 00:00:22.000, about 3000 ms in all, while \"keeper\" "
                              "talks."),
            std::string::npos)
      << finding.text;
  ASSERT_EQ(finding.stretches.size(), 1U);
  EXPECT_DOUBLE_EQ(finding.stretches[0].line_to_s, 25.0);
  EXPECT_TRUE(survey::track_needs_person(lineup_.mix->findings));
}

TEST_F(MixHoles, AreToldHoweverLongOrShort) {
  add_run(21.0, 0.05, true, true);
  EXPECT_EQ(judged().size(), 1U);
  survey_.mix->zero_runs.clear();
  add_run(22.0, 20.0, true, false);
  EXPECT_EQ(judged().size(), 1U);
}

TEST_F(MixHoles, AreToldOfANickBetweenTwoWords) {
  add_run(31.0, 0.15, true, true);
  ASSERT_EQ(judged().size(), 1U);
  EXPECT_EQ(lineup_.mix->findings[0].text.find("while"), std::string::npos);
}

TEST_F(MixHoles, AreToldWhereTheySwallowTalkFromPauseToPause) {
  add_run(19.0, 12.0, false, false);
  EXPECT_EQ(judged().size(), 1U);
}

TEST_F(MixHoles, AreNoneWhereNobodyTalks) {
  add_run(32.0, 3.0, true, true);
  EXPECT_TRUE(judged().empty());
}

TEST_F(MixHoles, AreNoneWhereAGateOpensLate) {
  add_run(35.0, 5.1, false, true);
  EXPECT_TRUE(judged().empty());
}

TEST_F(MixHoles, AreNoneBetweenATeaserOrAJingleAndTheShow) {
  add_run(22.0, 3.0, true, true);
  Finding& music = lineup_.findings.emplace_back();
  music.code = "mix-music";
  music.stretches = {{10.0, 21.5}};
  EXPECT_EQ(judged().size(), 1U) << "the show had begun before";
  music.stretches = {{3.0, 21.5}};
  EXPECT_TRUE(judged().empty());
  survey_.mix->zero_runs.clear();
  add_run(46.0, 3.0, true, true);
  music.stretches = {{49.5, 59.0}};
  EXPECT_TRUE(judged().empty());
}

TEST_F(MixHoles, AreNoneWhereTheMixIsLongerThanTheTimeline) {
  add_run(24.0, 2.0, true, true);
  lineup_.mix->spans = {{0.0, 24.0, 0.0, 24.0, 0.0}, {26.0, kLength_s, 24.0, 58.0, 0.0}};
  EXPECT_TRUE(judged().empty());
}

TEST_F(MixHoles, AreNoneWhereANetworkHeldTheTalkBack) {
  add_run(22.0, 1.0, true, true);
  Finding& excursion = lineup_.tracks[0].findings.emplace_back();
  excursion.code = "excursion";
  excursion.stretches = {{22.0, 24.0}};
  EXPECT_TRUE(judged().empty());
}

TEST_F(MixHoles, RestOnTheMixAloneWhereNoFirmTrackCoversThem) {
  add_run(32.0, 3.0, true, true);
  lineup_.tracks[0].standing = Standing::shaky;
  EXPECT_EQ(judged().size(), 1U);
}

TEST_F(MixHoles, RestOnTheMixAloneWhereSomebodyHasNoTrack) {
  add_run(32.0, 3.0, true, true);
  Finding& missing = lineup_.findings.emplace_back();
  missing.code = "missing-voice";
  missing.stretches = {{28.0, 31.0}};
  EXPECT_EQ(judged().size(), 1U);
  missing.stretches = {{2.0, 5.0}};
  EXPECT_TRUE(judged().empty());
}

TEST_F(MixHoles, FailWhereATrackCannotBeRead) {
  add_run(22.0, 3.0, true, true);
  survey_.tracks[0].signal = std::make_shared<UnreadableSignal>();
  EXPECT_FALSE(judge_mix_holes(survey_, lineup_));
}

}  // namespace
}  // namespace kilter::commands
