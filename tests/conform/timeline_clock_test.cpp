#include "kilter/conform/timeline_clock.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "kilter/base/whole_frames.h"

namespace kilter::conform {
namespace {

constexpr double kRate_hz = 48000.0;
constexpr double kHalfFrame_s = 0.5 / kRate_hz;

LineupTrack track_of(const std::string& name, const std::string& recorder,
                     std::vector<Span> spans) {
  LineupTrack track;
  track.name = name;
  track.recorder = recorder;
  track.rate_hz = kRate_hz;
  track.standing = Standing::firm;
  track.map = *TimeMap::make(std::move(spans));
  track.uncertainty_us = 1.0;
  return track;
}

/// A desk that ran 60 ppm fast and lost a second, with two mics on it; a guest with a wandering
/// clock; a mix from 0 to 600.
Lineup session() {
  const double drift = 1.0 / (1.0 + 60e-6);
  const std::vector<Span> desk{{0.0, 300.0, -2.5, -2.5 + 300.0 * drift, 3.0},
                               {300.0, 640.0, -1.5 + 300.0 * drift, -1.5 + 640.0 * drift, 5.0}};
  Lineup lineup;
  lineup.session = "hour";
  lineup.timeline_rate_hz = 44100.0;
  lineup.to_s = 600.0;
  lineup.mix = LineupMix{"mix.wav", 44100.0, 26460000, {{0.0, 600.0, 0.0, 600.0, 0.0}}, {}};
  lineup.tracks = {track_of("keeper", "A", desk), track_of("mate", "A", desk),
                   track_of("harbour", "B",
                            {{0.0, 200.0, 7.3, 207.3 - 0.004, 2.0},
                             {200.0, 500.0, 207.3 - 0.004, 507.3 - 0.013, 2.0}})};
  return lineup;
}

/// What of two tracks sounds together before must do so after.
void expect_together(const Lineup& before, const Lineup& after, double most_s) {
  for (double line_s = 10.0; line_s < 500.0; line_s += 7.77) {
    const LineupTrack& clock = before.tracks[0];
    const auto clock_s = clock.map->to_track(line_s);
    if (!clock_s) continue;
    const auto moved_s = after.tracks[0].map->to_line(*clock_s);
    ASSERT_TRUE(moved_s);
    for (std::size_t i = 1; i < before.tracks.size(); ++i) {
      const auto track_s = before.tracks[i].map->to_track(line_s);
      if (!track_s) continue;
      const auto found_s = after.tracks[i].map->to_line(*track_s);
      ASSERT_TRUE(found_s) << before.tracks[i].name << " at " << line_s;
      EXPECT_NEAR(*found_s, *moved_s, most_s) << before.tracks[i].name << " at " << line_s;
    }
    const Span& last = after.mix->spans.back();
    double mix_s = 0.0;
    for (const Span& span : after.mix->spans)
      if (*moved_s >= span.line_from_s && (*moved_s < span.line_to_s || &span == &last))
        mix_s = span.from_s + (*moved_s - span.line_from_s) / span.rate();
    EXPECT_NEAR(mix_s, line_s, most_s);
  }
}

TEST(OnClockOf, ATracksClockMakesCopiesOfItsRecordersTracks) {
  const auto moved = on_clock_of(session(), "keeper");
  ASSERT_TRUE(moved);
  EXPECT_EQ(moved->timeline_clock, "keeper");
  EXPECT_EQ(moved->timeline_rate_hz, kRate_hz);
  for (const std::size_t i : {0U, 1U}) {
    const auto spans = moved->tracks[i].map->spans();
    ASSERT_EQ(spans.size(), 2U);
    for (const Span& span : spans) {
      const double length = (span.to_s - span.from_s) * kRate_hz;
      EXPECT_LT(std::abs(1.0 / span.rate() - 1.0) * length, kWholeFrame);
      EXPECT_TRUE(is_whole_frame((span.line_from_s - span.from_s) * kRate_hz));
    }
  }
}

TEST(OnClockOf, WhatSoundedTogetherStillDoes) {
  const Lineup before = session();
  const auto moved = on_clock_of(before, "keeper");
  ASSERT_TRUE(moved);
  expect_together(before, *moved, kHalfFrame_s + 1e-9);
  const auto by_guest = on_clock_of(before, "harbour");
  ASSERT_TRUE(by_guest);
  expect_together(before, *by_guest, 1e-9);
}

TEST(OnClockOf, TheMixKeepsItsPlaceAndFollowsTheClock) {
  const auto moved = on_clock_of(session(), "keeper");
  ASSERT_TRUE(moved);
  EXPECT_NEAR(moved->mix->spans.front().line_from_s, 0.0, kHalfFrame_s);
  EXPECT_NEAR(moved->mix->spans.back().line_to_s, 600.0 * (1.0 + 60e-6), 2.0 * kHalfFrame_s);
  EXPECT_DOUBLE_EQ(moved->from_s, moved->mix->spans.front().line_from_s);
  EXPECT_DOUBLE_EQ(moved->to_s, moved->mix->spans.back().line_to_s);
}

TEST(OnClockOf, GoesBackToTheMix) {
  const auto there = on_clock_of(session(), "harbour");
  ASSERT_TRUE(there);
  const auto back = on_clock_of(*there, "mix");
  ASSERT_TRUE(back);
  EXPECT_EQ(back->timeline_rate_hz, 44100.0);
  EXPECT_EQ(back->mix->spans.size(), 1U);
  for (const LineupTrack& track : session().tracks) {
    const auto found = std::find_if(back->tracks.begin(), back->tracks.end(),
                                    [&](const auto& each) { return each.name == track.name; });
    for (const double at_s : {1.0, 250.0, 420.0})
      EXPECT_NEAR(*found->map->to_line(at_s), *track.map->to_line(at_s), 0.5 / 44100.0 + 1e-9);
  }
}

TEST(OnClockOf, TheMixsOwnClockChangesNothing) {
  Lineup before = session();
  before.stems = {{"keeper.wav", 7}};
  const auto same = on_clock_of(before, "mix");
  ASSERT_TRUE(same);
  EXPECT_EQ(same->stems.size(), 1U);
  EXPECT_EQ(same->tracks[0].map->start_s(), before.tracks[0].map->start_s());
}

TEST(OnClockOf, AWanderingClockBecomesOneSpan) {
  const auto moved = on_clock_of(session(), "harbour");
  ASSERT_TRUE(moved);
  ASSERT_EQ(moved->tracks[2].map->spans().size(), 1U);
  // The desk is bent where the guest's clock turned, and stays in two pieces where it lost a
  // second.
  EXPECT_GE(moved->tracks[0].map->spans().size(), 3U);
}

TEST(OnClockOf, AStraightClockCutsNothing) {
  Lineup before = session();
  before.tracks[0] = track_of("keeper", "A", {{0.0, 640.0, -2.5, 637.46, 1.0}});
  const auto moved = on_clock_of(before, "keeper");
  ASSERT_TRUE(moved);
  EXPECT_EQ(moved->mix->spans.size(), 1U);
  EXPECT_EQ(moved->tracks[2].map->spans().size(), before.tracks[2].map->spans().size());
  // Tracks reach beyond the mix on either side.
  const auto back = on_clock_of(*moved, "mix");
  ASSERT_TRUE(back);
  EXPECT_EQ(back->tracks[0].map->spans().size(), 1U);
}

TEST(OnClockOf, ASiblingThatAnotherDeviceRecordedIsBent) {
  Lineup before = session();
  before.tracks[1] = track_of("mate", "A", {{0.0, 640.0, -2.5, 637.5, 1.0}});  // no drift at all
  const auto moved = on_clock_of(before, "keeper");
  ASSERT_TRUE(moved);
  EXPECT_NEAR(moved->tracks[1].map->drift_ppm(), -60.0, 0.5);
  expect_together(before, *moved, kHalfFrame_s + 1e-9);
}

TEST(OnClockOf, NumbersInFindingsFollow) {
  Lineup before = session();
  before.tracks[2].findings.push_back({"seam", "", 100.0, 107.2, 0.1, "stream", {{107.0, 108.0}}});
  before.findings.push_back({"missing-voice", "", {}, {}, {}, {}, {{300.0, 301.0}}});
  const auto moved = on_clock_of(before, "keeper");
  ASSERT_TRUE(moved);
  const auto expected = [&](double line_s) {
    return *moved->tracks[0].map->to_line(*before.tracks[0].map->to_track(line_s));
  };
  const Finding& seam = moved->tracks[2].findings[0];
  EXPECT_NEAR(*seam.line_s, expected(107.2), 1e-9);
  EXPECT_NEAR(seam.stretches[0].line_to_s, expected(108.0), 1e-9);
  EXPECT_EQ(*seam.at_s, 100.0);
  EXPECT_NEAR(moved->findings[0].stretches[0].line_from_s, expected(300.0), kHalfFrame_s + 1e-9);
}

TEST(OnClockOf, AWrongHeaderCountsAtTheRateItWasRecordedAt) {
  Lineup before = session();
  // 48 kHz sound under a header that says 44.1: its own seconds are too long.
  LineupTrack track = track_of("pilot", "C", {{0.0, 640.0, 1.0, 1.0 + 640.0 * 44.1 / 48.0, 1.0}});
  track.rate_hz = 44100.0;
  track.findings.push_back({"wrong-rate", "", {}, {}, {}, {}, {}, 48000.0});
  before.tracks.push_back(track);
  const auto moved = on_clock_of(before, "pilot");
  ASSERT_TRUE(moved);
  EXPECT_EQ(moved->timeline_rate_hz, 48000.0);
  const Span& span = moved->tracks[3].map->spans().front();
  EXPECT_NEAR((span.line_to_s - span.line_from_s) * 48000.0, 640.0 * 44100.0, 1e-6);
  EXPECT_NEAR(moved->mix->spans.back().line_to_s, 600.0, 1e-4);
}

TEST(OnClockOf, ATrackThatCannotCarryTheTimelineIsRefused) {
  Lineup lineup = session();
  lineup.tracks[2].map.reset();
  const auto unknown = on_clock_of(lineup, "cook");
  ASSERT_FALSE(unknown);
  EXPECT_EQ(unknown.error().kind, ErrorKind::bad_command);
  EXPECT_NE(unknown.error().next_step.find("keeper"), std::string::npos);
  const auto unplaced = on_clock_of(lineup, "harbour");
  ASSERT_FALSE(unplaced);
  EXPECT_EQ(unplaced.error().kind, ErrorKind::bad_command);
  EXPECT_EQ(unplaced.error().next_step.find("harbour"), std::string::npos);
}

TEST(OnClockOf, MapsByLotStayInOrder) {
  std::mt19937 random(1);
  std::uniform_real_distribution<double> length_s(0.001, 30.0);
  for (int trial = 0; trial < 300; ++trial) {
    Lineup before;
    before.timeline_rate_hz = kRate_hz;
    for (const char* name : {"a", "b", "c"}) {
      std::vector<Span> spans;
      double at_s = length_s(random);
      double line_s = length_s(random) - 15.0;
      for (int i = 0; i < 12; ++i) {
        const double span_s = length_s(random);
        const double on_line_s = span_s * (1.0 + 1e-4 * (length_s(random) / 15.0 - 1.0));
        spans.push_back({at_s, at_s + span_s, line_s, line_s + on_line_s, 1.0});
        at_s += span_s + (random() % 3 == 0 ? length_s(random) : 0.0);
        line_s += on_line_s + (random() % 3 == 0 ? length_s(random) : 0.0);
      }
      before.tracks.push_back(track_of(name, name, spans));
    }
    for (const char* name : {"a", "b", "c"})
      ASSERT_TRUE(on_clock_of(before, name)) << "trial " << trial << ", clock " << name;
  }
}

}  // namespace
}  // namespace kilter::conform
