#include "kilter/edits/event_list.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <map>
#include <set>

#include "event_list_reader.h"
#include "random_lineup.h"
#include "sample_lineup.h"
#include "simulator/random.h"
#include "support/temporary_folder.h"

namespace kilter::edits {
namespace {

const std::string kGolden = std::string(KILTER_GOLDEN_FOLDER) + "/lighthouse.edl";

struct RandomCase {
  const char* rate;
  int nominal;
  bool drop;
};
constexpr RandomCase kCases[] = {{"25", 25, false},     {"24", 24, false},    {"23.976", 24, false},
                                 {"29.97df", 30, true}, {"29.97", 30, false}, {"59.94df", 60, true},
                                 {"50", 50, false}};

TEST(EventList, LooksAsItAlwaysDid) {
  const auto lists = event_lists(sample_lineup(), {});
  ASSERT_EQ(lists.size(), 1U);
  if (std::getenv("KILTER_BLESS") != nullptr) test::write_text(kGolden, lists[0]);
  EXPECT_EQ(lists[0], test::read_text(kGolden));
}

TEST(EventList, PutsEverySoundWithinHalfAFrameOfItsPlaceAndLeavesNoneOut) {
  std::size_t count = 0;
  for (std::uint64_t seed = 0; seed < 140; ++seed) {
    SCOPED_TRACE(testing::Message() << "seed " << seed);
    const RandomCase& row = kCases[seed % std::size(kCases)];
    const Lineup lineup = random_lineup(seed);
    simulator::Random random{seed, 7};
    RecordTime record{frame_rate_from_text(row.rate).value(), 0, random.between(-3.0, 3.0)};
    record.start_frame = *frame_of_timecode("01:00:00:00", record.rate);
    const auto events = read_event_lists(event_lists(lineup, record), row.nominal, row.drop);
    check_no_overlap(events);
    check_event_places(events, lineup, record, seed);
    count += events.size();
  }
  EXPECT_GT(count, 1000U);  // or the lots were empty
}

TEST(EventList, EveryFileHasOneReelAndNoTwoShareIt) {
  for (std::uint64_t seed = 0; seed < 50; ++seed) {
    const Lineup lineup = random_lineup(seed);
    std::map<std::string, std::string> reel_of;
    std::set<std::string> reels;
    auto events = read_event_lists(event_lists(lineup, {}), 25, false);
    for (const LineupTrack* track : used_tracks(lineup))
      for (const auto& event : read_event_lists(track_event_lists(lineup, *track, {}), 25, false))
        events.push_back(event);
    for (const ReadEvent& event : events) {
      const auto [entry, is_new] = reel_of.try_emplace(event.source_file, event.reel);
      EXPECT_EQ(entry->second, event.reel);
      if (is_new) {
        EXPECT_TRUE(reels.insert(event.reel).second) << event.reel;
      }
    }
  }
}

/// A lineup of whole files of 100 s at 25 fps, one to a track, from 0 s on.
Lineup plain_lineup(const std::vector<std::string>& files, double drift_ppm = 0.0,
                    double length_s = 100.0) {
  Lineup lineup;
  lineup.session = "evening";
  lineup.timeline_rate_hz = 48000.0;
  lineup.to_s = length_s;
  for (const std::string& file : files) {
    LineupTrack track;
    track.name = file;
    track.rate_hz = 48000.0;
    track.parts = {{file, 1, static_cast<std::int64_t>(48000.0 * length_s)}};
    track.standing = Standing::firm;
    track.map = *TimeMap::line(0.0, drift_ppm, length_s, 1.0);
    lineup.tracks.push_back(track);
  }
  return lineup;
}

TEST(EventList, ReelsAreLegalWhateverTheFilesAreCalled) {
  const std::vector<std::pair<std::string, std::string>> reels{{"keeper.wav", "KEEPER"},
                                                               {"shelf/keeper.flac", "KEEPER2"},
                                                               {"lighthouse-one.wav", "LIGHTHOU"},
                                                               {"lighthouse-two.wav", "LIGHTHO2"},
                                                               {"2024-11-03.wav", "F2024110"},
                                                               {"ax.wav", "AX2"},
                                                               {"Black.wav", "BLACK2"},
                                                               {"灯台.wav", "FILE"},
                                                               {"---.wav", "FILE2"},
                                                               {"bars.wav", "BARS2"}};
  std::vector<std::string> files;
  for (const auto& [file, reel] : reels) files.push_back(file);
  const auto events = read_event_lists(event_lists(plain_lineup(files), {}), 25, false);
  ASSERT_EQ(events.size(), reels.size());
  for (std::size_t i = 0; i < reels.size(); ++i) EXPECT_EQ(events[i].reel, reels[i].second);
}

TEST(EventList, CutsADriftingClockWhereItHasGainedAFrame) {
  // 1000 ppm at 25 fps: a frame in 1000, the first after 500.
  const auto events =
      read_event_lists(event_lists(plain_lineup({"keeper.wav"}, 1000.0, 101.0), {}), 25, false);
  ASSERT_EQ(events.size(), 4U);
  const std::int64_t start = 90000;
  EXPECT_EQ(events[0].record_in, start);
  for (std::size_t i = 1; i < 4; ++i) {
    EXPECT_NEAR(static_cast<double>(events[i].record_in - start),
                500.0 + 1000.0 * static_cast<double>(i - 1), 2.0);
    EXPECT_EQ(events[i].record_in, events[i - 1].record_out);
    EXPECT_EQ(events[i].source_in, events[i - 1].source_out + 1);
  }
}

TEST(EventList, ASteadyClockIsOneEventAndAWanderingOneNotCutWithoutNeed) {
  EXPECT_EQ(read_event_lists(event_lists(plain_lineup({"a.wav"}), {}), 25, false).size(), 1U);
  Lineup lineup = plain_lineup({"a.wav"});
  std::vector<Span> spans;
  double line_s = 0.0;
  for (int i = 0; i < 20; ++i) {
    const double line_to_s = line_s + 5.0 * (1.0 + (i % 2 == 0 ? 9e-6 : -9e-6));
    spans.push_back({5.0 * i, 5.0 * (i + 1), line_s, line_to_s, 1.0});
    line_s = line_to_s;
  }
  lineup.tracks[0].map = *TimeMap::make(spans);
  EXPECT_EQ(read_event_lists(event_lists(lineup, {}), 25, false).size(), 1U);
}

TEST(EventList, ASeamIsACutHoweverSmall) {
  Lineup lineup = plain_lineup({"a.wav"});
  lineup.tracks[0].map =
      *TimeMap::make({{0.0, 50.0, 0.0, 50.0, 1.0}, {50.0, 100.0, 50.001, 100.001, 1.0}});
  const auto events = read_event_lists(event_lists(lineup, {}), 25, false);
  ASSERT_EQ(events.size(), 2U);
  EXPECT_EQ(events[1].record_in, 90000 + 1250);
}

TEST(EventList, GoesOnInAFurtherListAfter999Events) {
  Lineup lineup = plain_lineup({"a.wav", "b.wav", "c.wav"}, 0.0, 1000.0);
  std::vector<Span> spans;
  for (int i = 0; i < 400; ++i)
    spans.push_back({2.0 * i, 2.0 * i + 1.0, 2.0 * i, 2.0 * i + 1.0, 1.0});
  for (LineupTrack& track : lineup.tracks) track.map = *TimeMap::make(spans);
  const auto lists = event_lists(lineup, {});
  ASSERT_EQ(lists.size(), 2U);
  const auto first = read_event_list(lists[0], 25, false);
  const auto second = read_event_list(lists[1], 25, false);
  EXPECT_EQ(first.size(), 999U);
  EXPECT_EQ(second.size(), 201U);
  auto all = first;
  all.insert(all.end(), second.begin(), second.end());
  check_no_overlap(all);
  EXPECT_NE(lists[1].find("* LIST 2 OF 2\r\n"), std::string::npos);
}

TEST(EventList, TracksThatAreNotUsedAreNamedInAComment) {
  Lineup lineup = plain_lineup({"a.wav", "b.wav"});
  lineup.tracks[0].map.reset();
  lineup.tracks[0].standing = Standing::unplaced;
  lineup.tracks[1].role = Role::ignore;
  const auto lists = event_lists(lineup, {});
  ASSERT_EQ(lists.size(), 1U);
  EXPECT_TRUE(read_event_list(lists[0], 25, false).empty());
  EXPECT_NE(lists[0].find("* NOT PLACED: A.WAV\r\n"), std::string::npos) << lists[0];
  EXPECT_NE(lists[0].find("* LEFT OUT: B.WAV\r\n"), std::string::npos);
}

TEST(EventList, NoCommentStandsAboveTheFirstEvent) {
  const std::string list = event_lists(sample_lineup(), {})[0];
  EXPECT_LT(list.find("\r\n001  "), list.find("\r\n* "));
}

TEST(EventList, AWrongHeaderIsNotCutToShreds) {
  Lineup lineup = plain_lineup({"a.wav"});
  lineup.tracks[0].map = *TimeMap::make({{0.0, 100.0, 0.0, 91.875, 1.0}});
  const std::string list = event_lists(lineup, {})[0];
  EXPECT_TRUE(read_event_list(list, 25, false).empty());
  EXPECT_NE(list.find("* NOT LISTED: A.WAV"), std::string::npos);
}

TEST(EventList, WhatLiesBeforeMidnightIsLeftOutAndSaid) {
  Lineup lineup = plain_lineup({"a.wav"});
  lineup.tracks[0].map = *TimeMap::line(-10.0, 0.0, 100.0, 1.0);
  const std::string list = event_lists(lineup, {{}, 0, 0.0})[0];
  const auto events = read_event_list(list, 25, false);
  ASSERT_EQ(events.size(), 1U);
  EXPECT_EQ(events[0].record_in, 0);
  EXPECT_EQ(events[0].source_in, 250);
  EXPECT_NE(list.find("BEYOND THE DAY"), std::string::npos);
  // The same at the day's other end.
  const std::string late = event_lists(lineup, {{}, 2160000 - 100, 0.0})[0];
  const auto last = read_event_list(late, 25, false);
  ASSERT_EQ(last.size(), 1U);
  EXPECT_EQ(last[0].record_out, 2160000);
  EXPECT_NE(late.find("BEYOND THE DAY"), std::string::npos);
}

TEST(EventList, AFilesOwnTimecodeShiftsItsSourceTimes) {
  const SourceFactsOf facts = [](const TrackPart&) {
    return SourceFacts{48000 * 3600 + 960, false};
  };
  const auto events = read_event_lists(event_lists(plain_lineup({"a.wav"}), {}, facts), 25, false);
  ASSERT_EQ(events.size(), 1U);
  // It begins half a frame after a label, so its first whole frame is the next.
  EXPECT_EQ(events[0].source_in, 90001);
  EXPECT_LE(events[0].source_out, 90001 + 2499);
}

TEST(EventList, OnePictureIsListedBesideItsSound) {
  const SourceFactsOf facts = [](const TrackPart& part) {
    return SourceFacts{0, part.file != "a.wav"};
  };
  const auto events = read_event_lists(
      event_lists(plain_lineup({"a.wav", "b.mov", "c.mov"}), {}, facts), 25, false);
  std::multiset<std::string> channels;
  for (const ReadEvent& event : events) {
    channels.insert(event.channels);
    if (event.channels == "V") {
      EXPECT_EQ(event.source_file, "b.mov");
    }
  }
  EXPECT_EQ(channels, (std::multiset<std::string>{"A", "A2", "A3", "V"}));
}

TEST(EventList, ATracksOwnListIsItsShareOfTheWhole) {
  const Lineup lineup = sample_lineup();
  const auto all = read_event_lists(event_lists(lineup, {}), 25, false);
  const auto own = read_event_lists(track_event_lists(lineup, lineup.tracks[1], {}), 25, false);
  ASSERT_EQ(own.size(), 1U);
  EXPECT_EQ(own[0].channels, "A");
  const auto same = std::find_if(all.begin(), all.end(),
                                 [](const ReadEvent& event) { return event.channels == "A2"; });
  ASSERT_NE(same, all.end());
  EXPECT_EQ(own[0].record_in, same->record_in);
  EXPECT_EQ(own[0].source_out, same->source_out);
}

TEST(EventList, StemsAllStartTogetherAndLastAsLong) {
  const StemSet stems{{{"keeper", "keeper.wav"}, {"guest", "guest.wav"}}, 44100.0, 44100 * 100 + 1};
  const RecordTime record{frame_rate_from_text("29.97df").value(), 107892, 0.0};
  const auto lists = stem_event_lists(sample_lineup(), stems, record);
  ASSERT_EQ(lists.size(), 1U);
  const auto events = read_event_list(lists[0], 30, true);
  ASSERT_EQ(events.size(), 2U);
  for (const ReadEvent& event : events) {
    EXPECT_EQ(event.record_in, 107892);
    EXPECT_EQ(event.source_in, 0);
    EXPECT_EQ(event.source_out, 2997);  // of 2997.003
  }
  EXPECT_EQ(events[0].channels + events[1].channels, "AA2");
}

}  // namespace
}  // namespace kilter::edits
