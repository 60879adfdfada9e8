// Whole runs over sessions in which something went wrong, held against the simulator's truth.
#include <gtest/gtest.h>
#include <sndfile.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>

#include "kilter/base/clock_text.h"
#include "kilter/edits/lineup_file.h"
#include "run_kilter.h"
#include "simulator/session_files.h"
#include "simulator/simulator.h"
#include "simulator/sound_delay.h"
#include "stem_truth.h"
#include "support/sound_files.h"
#include "support/temporary_folder.h"

namespace kilter {
namespace {

namespace fs = std::filesystem;
using simulator::Damage;

constexpr double kLength_s = 110.0;
constexpr double kPiece_s = 0.5;    // the slow reference works on every tap
constexpr double kLimit_us = 20.0;  // twice what is asked of a track away from seams

/// A session of 110 s, everybody recorded from before the mix begins.
simulator::SessionSpec whole_session(std::uint64_t seed, int room, int remote) {
  auto spec = simulator::hybrid_session(seed, kLength_s, room, remote);
  for (std::size_t i = 0; i < spec.recorders.size(); ++i)
    spec.recorders[i].start_s = -2.3 - 1.7 * static_cast<double>(i);
  spec.faults_amid_speech = true;
  return spec;
}

class Faults : public testing::Test {
 protected:
  void make(const simulator::SessionSpec& spec) {
    auto made = simulator::simulate(spec, simulator::SyntheticVoices(spec.seed), 2);
    ASSERT_TRUE(made) << made.error().what;
    truth_ = *std::move(made);
    ASSERT_TRUE(simulator::write_session(truth_, show(), {}));
  }
  fs::path show() const { return work_ / "show"; }
  fs::path stem(const std::string& track) const {
    return work_ / "done" / "stems" / (track + ".wav");
  }

  /// Conforms, and reads the lineup that stands beside the stems.
  test::Told conform(const std::vector<std::string>& more = {}) {
    std::vector<std::string> args{
        "conform", show().string(), "--out", (work_ / "done").string(), "--bits", "32f"};
    args.insert(args.end(), more.begin(), more.end());
    const test::Told told = test::run_kilter(args);
    const auto lineup = edits::read_lineup(work_ / "done" / "lineup.json");
    EXPECT_TRUE(lineup) << lineup.error().what << told.err;
    if (lineup) lineup_ = *lineup;
    return told;
  }

  const LineupTrack& track(const std::string& name) const {
    static const LineupTrack none;
    const auto found = std::find_if(lineup_.tracks.begin(), lineup_.tracks.end(),
                                    [&](const LineupTrack& each) { return each.name == name; });
    EXPECT_NE(found, lineup_.tracks.end()) << name;
    return found == lineup_.tracks.end() ? none : *found;
  }
  static std::vector<Finding> found(const std::vector<Finding>& findings, const char* code) {
    std::vector<Finding> result;
    std::copy_if(findings.begin(), findings.end(), std::back_inserter(result),
                 [&](const Finding& each) { return each.code == code; });
    return result;
  }

  void expect_firm() const {
    for (const LineupTrack& each : lineup_.tracks)
      EXPECT_EQ(each.standing, Standing::firm) << each.name;
  }

  /// Whether the stem holds at `from_s` what the truth says.
  void expect_true(std::size_t index, double from_s) const {
    const std::string& name = truth_.tracks[index].name;
    const std::vector<float> sound = test::read_all(stem(name));
    ASSERT_EQ(sound.size(), static_cast<std::size_t>(kLength_s * truth_.mix_rate_hz)) << name;
    const auto expected = test::true_piece(truth_, index, from_s, kPiece_s);
    const double late_us =
        1e6 * simulator::mean_delay_s(expected,
                                      test::piece(sound, from_s, kPiece_s, truth_.mix_rate_hz),
                                      truth_.mix_rate_hz);
    EXPECT_LT(std::abs(late_us), kLimit_us) << name << " at " << from_s;
    std::printf("  %-8s at %6.1f s: %+7.2f us off the truth\n", name.c_str(), from_s, late_us);
  }

  /// The nearest moment in which `person` speaks, from `near_s` on (`step_s` below 0: before it).
  double while_speaking(std::size_t person, double near_s, double step_s) const {
    for (double s = near_s; s > 1.0 && s < kLength_s - 1.0; s += step_s)
      for (const auto& words : truth_.talk)
        if (words.person == static_cast<int>(person) && s > words.line_from_s &&
            s + kPiece_s < words.line_from_s + words.length_s)
          return s;
    ADD_FAILURE() << "nobody speaks";
    return near_s;
  }

  test::TemporaryFolder work_;
  simulator::Session truth_;
  Lineup lineup_;
};

struct SeamCase {
  const char* name;
  std::vector<Damage> of_guest;
  std::vector<Damage> of_room;
};

class Seams : public Faults, public testing::WithParamInterface<SeamCase> {};

TEST_P(Seams, LeaveTheStemsRightOnBothSides) {
  auto spec = whole_session(71, 2, 1);
  spec.people[2].damage = GetParam().of_guest;
  spec.recorders[0].damage = GetParam().of_room;
  make(spec);
  const test::Told told = conform();
  EXPECT_EQ(told.exit, 1) << told.err;  // what was lost a person has to hear
  EXPECT_NE(told.out.find(" 1 seam; "), std::string::npos) << told.out;
  for (std::size_t i = 0; i < truth_.tracks.size(); ++i) {
    const auto& expected = truth_.tracks[i].seams;
    const auto seams = found(track(truth_.tracks[i].name).findings, "seam");
    ASSERT_EQ(seams.size(), expected.size()) << told.out;
    for (std::size_t s = 0; s < seams.size(); ++s) {
      EXPECT_EQ(seams[s].cause, expected[s].cause);
      EXPECT_NEAR(seams[s].step_s.value_or(0.0), expected[s].step_s, 100e-6);
      // Half a second away, for the place itself is only known to lie in a pause.
      expect_true(i, while_speaking(i, expected[s].line_s - 1.0, -0.1));
      expect_true(i, while_speaking(i, expected[s].line_after_s + 0.5, 0.1));
    }
  }
}

INSTANTIATE_TEST_SUITE_P(
    Faults, Seams,
    testing::Values(SeamCase{"GuestLost", {{Damage::Kind::lost, 55.0, 1.7}}, {}},
                    SeamCase{"GuestRepeated", {{Damage::Kind::repeated, 60.0, 0.6}}, {}},
                    SeamCase{
                        "RoomFilledWithZeros", {}, {{Damage::Kind::zeros_inserted, 57.0, 0.8}}}),
    [](const auto& each) { return each.param.name; });

TEST_F(Faults, AMicrophoneNamedLikeTheMixIsDoubted) {
  make(whole_session(13, 2, 1));
  fs::rename(show() / "mixdown.wav", show() / "desk.wav");
  fs::rename(show() / (truth_.tracks[1].name + ".wav"), show() / "mixdown.wav");
  const test::Told told = conform();
  EXPECT_EQ(told.exit, 1);
  const auto doubts = found(lineup_.findings, "several-mixes");
  ASSERT_EQ(doubts.size(), 1U) << told.out;
  EXPECT_NE(doubts[0].text.find("by its sound that is \"desk.wav\": 3 of 3 others are in it"),
            std::string::npos)
      << doubts[0].text;
  for (const LineupTrack& track : lineup_.tracks)
    for (const Finding& finding : found(track.findings, "unmatched")) {
      EXPECT_NE(finding.text.find("may come of the wrong file being taken for the mix"),
                std::string::npos)
          << finding.text;
    }
}

TEST_F(Faults, APartThatTheNumbersLeaveOutIsMissed) {
  make(whole_session(12, 2, 1));
  const auto& sound = truth_.tracks[0];
  const auto rate_hz = static_cast<int>(sound.clock.file_rate_hz());
  const std::size_t third = sound.samples.size() / 3;
  fs::remove(show() / (sound.name + ".wav"));
  for (const std::size_t part : {0U, 2U}) {
    const auto from = sound.samples.begin() + static_cast<std::ptrdiff_t>(part * third);
    test::write_sound(show() / ("rec_000" + std::to_string(part + 1) + ".wav"),
                      {{from, from + static_cast<std::ptrdiff_t>(third)}}, rate_hz);
  }
  const test::Told told = conform();
  EXPECT_EQ(told.exit, 1);
  const auto missing = found(lineup_.findings, "missing-part");
  ASSERT_EQ(missing.size(), 1U) << told.out;
  EXPECT_NE(test::unwrapped(told.out).find("Between \"rec_0001.wav\" and \"rec_0003.wav\" 00:00:"),
            std::string::npos)
      << told.out;
}

TEST_F(Faults, WhatWasLostIsSilenceInTheStemAndNothingOverlaps) {
  auto spec = whole_session(62, 2, 1);
  spec.people[2].damage = {{Damage::Kind::lost, 50.0, 2.5}};
  make(spec);
  ASSERT_EQ(conform().exit, 1);
  const std::vector<float> sound = test::read_all(stem("pilot"));
  ASSERT_EQ(truth_.tracks[2].seams.size(), 1U);
  const simulator::TrueSeam& seam = truth_.tracks[2].seams[0];
  // The seam lies to within a pause, which is shorter than half a second amid speech.
  for (const float x : test::piece(sound, seam.line_s + 0.5, seam.line_after_s - seam.line_s - 1.0,
                                   truth_.mix_rate_hz))
    ASSERT_EQ(x, 0.0F);
  ASSERT_TRUE(track("pilot").map);
  const auto spans = track("pilot").map->spans();
  ASSERT_EQ(spans.size(), 2U);
  EXPECT_NEAR(spans[1].line_from_s - spans[0].line_to_s, 2.5, 100e-6);
}

TEST_F(Faults, AWrongHeaderGivesARightStem) {
  auto spec = whole_session(63, 2, 1);
  spec.recorders[1].rate_hz = 48000.0;
  spec.recorders[1].header_rate_hz = 44100.0;
  make(spec);
  const test::Told told = conform();
  EXPECT_EQ(told.exit, 0) << told.out << told.err;  // nothing is left to do for the stems
  expect_firm();
  const auto findings = found(track("pilot").findings, "wrong-rate");
  ASSERT_EQ(findings.size(), 1U);
  EXPECT_EQ(findings[0].rate_hz, 48000.0);
  EXPECT_NE(told.out.find(" 48000 Hz; 1"), std::string::npos) << told.out;
  for (const double at_s : {20.0, 60.0, 100.0}) expect_true(2, while_speaking(2, at_s, -0.1));
}

TEST_F(Faults, AMissingGuestIsToldWithTheTime) {
  auto spec = whole_session(64, 2, 2);
  spec.people[3].withheld = true;
  spec.people[3].words = {{41.0, 7.0}, {70.0, 6.0}};
  make(spec);
  const test::Told told = conform();
  EXPECT_EQ(told.exit, 1);
  expect_firm();
  EXPECT_EQ(lineup_.tracks.size(), 3U);
  const auto missing = found(lineup_.findings, "missing-voice");
  ASSERT_EQ(missing.size(), 1U) << told.out;
  // A stretch is counted in half seconds, and the voice may rise and die away slowly.
  ASSERT_EQ(missing[0].stretches.size(), 2U) << told.out;
  EXPECT_NEAR(missing[0].stretches[0].line_from_s, 41.0, 1.0);
  EXPECT_NEAR(missing[0].stretches[0].line_to_s, 48.0, 1.0);
  EXPECT_NEAR(missing[0].stretches[1].line_from_s, 70.0, 1.0);
  const std::string from = clock_text(missing[0].stretches[0].line_from_s);
  EXPECT_NE(test::unwrapped(told.out).find("first at " + from), std::string::npos) << told.out;
}

TEST_F(Faults, ASilentMicrophoneLiesWhereItsNeighboursDo) {
  auto spec = whole_session(65, 3, 1);
  spec.people[1].input = simulator::Input::silent;
  make(spec);
  const test::Told told = conform();
  EXPECT_EQ(told.exit, 1);
  const LineupTrack& silent = track("mate");
  EXPECT_EQ(silent.standing, Standing::shaky);  // nothing but its length says so
  EXPECT_EQ(found(silent.findings, "sibling-placed").size(), 1U) << told.out;
  ASSERT_TRUE(silent.map && track("keeper").map);
  EXPECT_EQ(silent.recorder, track("keeper").recorder);
  EXPECT_EQ(silent.map->start_s(), track("keeper").map->start_s());
  EXPECT_EQ(test::read_all(stem("mate")),
            std::vector<float>(static_cast<std::size_t>(kLength_s * truth_.mix_rate_hz), 0.0F));
}

TEST_F(Faults, AMixThatLostAStretchLeavesTheTracksWhole) {
  auto spec = whole_session(66, 2, 1);
  spec.mix.damage = {{Damage::Kind::lost, 52.0, 1.5}};
  make(spec);
  const test::Told told = conform();
  EXPECT_EQ(told.exit, 1);
  ASSERT_TRUE(lineup_.mix);
  ASSERT_EQ(found(lineup_.mix->findings, "mix-seam").size(), 1U) << told.out;
  ASSERT_EQ(lineup_.mix->spans.size(), 2U);
  EXPECT_NEAR(lineup_.mix->spans[1].line_from_s - lineup_.mix->spans[0].line_to_s, 1.5, 100e-6);
  EXPECT_NEAR(lineup_.to_s, kLength_s, 100e-6);
  for (const LineupTrack& each : lineup_.tracks) {
    EXPECT_TRUE(found(each.findings, "seam").empty()) << told.out;
    EXPECT_EQ(each.map.value().spans().size(), 1U) << each.name;
  }
}

TEST_F(Faults, TheMixUnderAnotherNameIsTakenForNobody) {
  make(whole_session(67, 2, 1));
  const int mp3 = SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III;
  test::write_sound(show() / "cloud-3.mp3", {truth_.mix}, 48000, mp3);
  const test::Told told = conform();
  EXPECT_EQ(told.exit, 0) << told.out << told.err;
  EXPECT_NE(told.out.find("All 3 tracks are firm"), std::string::npos) << told.out;
  EXPECT_EQ(track("cloud-3").role, Role::mix);
  EXPECT_EQ(found(track("cloud-3").findings, "mix-copy").size(), 1U);
  EXPECT_FALSE(fs::exists(stem("cloud-3")));
  for (std::size_t i = 0; i < 3; ++i) expect_true(i, while_speaking(i, 60.0, 0.1));
}

TEST_F(Faults, AGuestWhoRecordedWhatHeHeardIsAskedForHisMicrophone) {
  make(whole_session(69, 2, 2));
  const std::string guest = truth_.tracks[3].name;
  std::vector<float> heard;  // a fifth of a second late, on a clock of his own
  for (std::size_t i = 0; i < truth_.mix.size(); ++i) {
    const double place = static_cast<double>(i) * (1.0 - 40e-6) - 0.2 * truth_.mix_rate_hz;
    const auto before = static_cast<std::ptrdiff_t>(std::floor(place));
    if (before < 0) {
      heard.push_back(0.0F);
      continue;
    }
    const auto first = static_cast<std::size_t>(before);
    const auto share = static_cast<float>(place - static_cast<double>(before));
    heard.push_back(0.3F * ((1.0F - share) * truth_.mix[first] + share * truth_.mix[first + 1]));
  }
  test::write_sound(show() / (guest + ".wav"), {heard}, 48000, SF_FORMAT_WAV | SF_FORMAT_PCM_24);
  const test::Told told = conform();
  EXPECT_EQ(told.exit, 1);
  const auto copies = found(track(guest).findings, "mix-copy");
  ASSERT_EQ(copies.size(), 1U) << told.out;
  EXPECT_NE(copies.front().text.find("ask for that recording"), std::string::npos);
  EXPECT_FALSE(fs::exists(stem(guest)));
  EXPECT_EQ(found(lineup_.findings, "missing-voice").size(), 1U) << told.out;
  EXPECT_TRUE(found(lineup_.findings, "several-mixes").empty()) << told.out;
  for (std::size_t i = 0; i < 3; ++i) {
    EXPECT_FALSE(track(truth_.tracks[i].name).inverted);
    expect_true(i, while_speaking(i, 60.0, 0.1));
  }
}

TEST_F(Faults, TheMixersOwnMixOnTheFirstInputsOfAFileIsTakenForNobody) {
  auto spec = whole_session(68, 3, 1);
  simulator::Person desk;
  desk.name = "desk";
  desk.input = simulator::Input::mixer_mix;
  spec.people.push_back(desk);
  make(spec);
  // As an interface writes it: its stereo mix, then the microphones.
  test::Samples right = truth_.tracks[4].samples;
  for (float& x : right) x *= 0.8F;
  std::vector<test::Samples> inputs{truth_.tracks[4].samples, right};
  for (std::size_t i = 0; i < 3; ++i) {
    inputs.push_back(truth_.tracks[i].samples);
    fs::remove(show() / (truth_.tracks[i].name + ".wav"));
  }
  fs::remove(show() / "desk.wav");
  test::write_sound(show() / "inputs.wav", inputs, 48000);
  const test::Told told = conform();
  EXPECT_EQ(told.exit, 0) << told.out << told.err;
  EXPECT_NE(told.out.find("All 4 tracks are firm"), std::string::npos) << told.out;
  EXPECT_NE(test::unwrapped(told.out).find("copies of the mix (inputs-ch1, inputs-ch2)"),
            std::string::npos)
      << told.out;
  for (const char* name : {"inputs-ch1", "inputs-ch2"}) {
    EXPECT_EQ(track(name).role, Role::mix);
    EXPECT_FALSE(fs::exists(stem(name)));
  }
  for (const char* name : {"inputs-ch3", "inputs-ch4", "inputs-ch5", "pilot"})
    EXPECT_TRUE(fs::exists(stem(name))) << name;
}

/// Three people with a recorder each in one room, who hear each other, and no mix.
class WithoutAMix : public Faults {
 protected:
  void SetUp() override {
    auto spec = whole_session(69, 3, 0);
    spec.room.bleed_low_db = -14.0;
    spec.room.bleed_high_db = -8.0;
    for (int i = 0; i < 3; ++i) {
      spec.recorders.resize(3, spec.recorders[0]);
      auto& recorder = spec.recorders[static_cast<std::size_t>(i)];
      recorder.drift_ppm = 27.0 * i - 31.0;
      recorder.start_s = 2.3 * i - 3.7;
      spec.people[static_cast<std::size_t>(i)].recorder = i;
    }
    make(spec);
    fs::remove(show() / "mixdown.wav");
  }
};

TEST_F(WithoutAMix, TracksLieOnTheClockOfOneOfThem) {
  const test::Told told = conform();
  EXPECT_EQ(told.exit, 1) << told.err;
  EXPECT_FALSE(lineup_.mix);
  ASSERT_EQ(found(lineup_.findings, "no-mix").size(), 1U) << told.out;
  const auto clock =
      std::find_if(truth_.tracks.begin(), truth_.tracks.end(),
                   [&](const auto& each) { return each.name == lineup_.timeline_clock; });
  ASSERT_NE(clock, truth_.tracks.end()) << lineup_.timeline_clock;
  double from_s = 0.0;
  double to_s = 0.0;
  for (std::size_t i = 0; i < truth_.tracks.size(); ++i) {
    const LineupTrack& placed = track(truth_.tracks[i].name);
    ASSERT_TRUE(placed.map) << told.out;
    for (const double at_s : {10.0, 90.0}) {
      const double true_s = clock->clock.own_of(truth_.line_of(i, at_s));
      EXPECT_NEAR(placed.map->to_line(at_s).value(), true_s, 1e-6 * placed.uncertainty_us + 1e-9)
          << placed.name;
    }
    from_s = std::min(from_s, placed.map->spans().front().line_from_s);
    to_s = std::max(to_s, placed.map->spans().back().line_to_s);
  }
  EXPECT_EQ(lineup_.from_s, from_s);
  EXPECT_EQ(lineup_.to_s, to_s);
  // All that was recorded, in whole frames.
  for (const auto& each : truth_.tracks)
    EXPECT_NEAR(static_cast<double>(test::read_all(stem(each.name)).size()),
                48000.0 * (to_s - from_s), 2.0);
}

TEST_F(WithoutAMix, TheLineupServesAgainAndAMixThatIsNamedRules) {
  ASSERT_EQ(conform().exit, 1);
  const std::vector<float> first = test::read_all(stem("mate"));
  fs::copy_file(work_ / "done" / "lineup.json", work_ / "kept.json");
  conform({"--replace", "--lineup", (work_ / "kept.json").string()});
  EXPECT_FALSE(lineup_.mix);
  EXPECT_EQ(test::read_all(stem("mate")), first);

  test::write_sound(show() / "evening.wav", {truth_.mix}, 48000);
  const test::Told told = conform({"--replace", "--mix", (show() / "evening.wav").string()});
  EXPECT_EQ(told.exit, 0) << told.out << told.err;
  ASSERT_TRUE(lineup_.mix);
  EXPECT_EQ(lineup_.mix->file, "evening.wav");
  EXPECT_TRUE(found(lineup_.findings, "no-mix").empty());
}

}  // namespace
}  // namespace kilter
