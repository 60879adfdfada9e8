#include "kilter/edits/event_list.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <map>
#include <set>
#include <sstream>

#include "random_lineup.h"
#include "sample_lineup.h"
#include "simulator/random.h"
#include "support/temporary_folder.h"

namespace kilter::edits {
namespace {

const std::string kGolden = std::string(KILTER_GOLDEN_FOLDER) + "/lighthouse.edl";

struct ReadEvent {
  int number;
  std::string reel, channels, source_file;
  std::int64_t source_in, source_out, record_in, record_out;
};

/// A label's frame, by counting the minutes whose first labels are left out.
std::int64_t frame_of(const std::string& label, int nominal, bool drop) {
  EXPECT_EQ(label[8], drop ? ';' : ':') << label;
  const int h = std::stoi(label), m = std::stoi(label.substr(3)), s = std::stoi(label.substr(6));
  std::int64_t frame = ((h * 60LL + m) * 60 + s) * nominal + std::stoi(label.substr(9));
  for (int minute = 1; minute <= h * 60 + m; ++minute)
    if (drop && minute % 10 != 0) frame -= nominal / 15;
  return frame;
}

std::string without_blanks(std::string text) {
  while (!text.empty() && text.back() == ' ') text.pop_back();
  return text;
}

bool is_reel(const std::string& text) {
  constexpr const char* kLetters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ";
  return !text.empty() && std::string(kLetters).find(text[0]) != std::string::npos &&
         text.find_first_not_of(std::string(kLetters) + "0123456789") == std::string::npos;
}

/// Field by field, by columns; the line's fields alone must give the line.
ReadEvent read_event(const std::string& line, int nominal, bool drop) {
  const auto time = [&](std::size_t at) { return frame_of(line.substr(at, 11), nominal, drop); };
  ReadEvent event{std::stoi(line.substr(0, 3)),
                  without_blanks(line.substr(5, 8)),
                  without_blanks(line.substr(14, 4)),
                  "",
                  time(29),
                  time(41),
                  time(53),
                  time(65)};
  EXPECT_TRUE(is_reel(event.reel)) << line;
  EXPECT_TRUE(event.channels == "V" || event.channels[0] == 'A') << line;
  EXPECT_EQ(line.substr(18, 11), "  C        ") << line;
  for (const std::size_t blank : {3U, 4U, 13U, 40U, 52U, 64U}) EXPECT_EQ(line[blank], ' ') << line;
  return event;
}

/// A small strict reader: what a careful one would refuse fails the test.
std::vector<ReadEvent> read_list(const std::string& text, int nominal, bool drop) {
  std::vector<ReadEvent> events;
  std::istringstream lines(text);
  int line_number = 0;
  for (std::string line; std::getline(lines, line); ++line_number) {
    EXPECT_TRUE(!line.empty() && line.back() == '\r') << line;
    line.pop_back();
    for (const char each : line) EXPECT_TRUE(each >= 0x20 && each < 0x7F) << line;
    if (line_number == 0) {
      EXPECT_TRUE(line.starts_with("TITLE: ") && line.size() <= 70) << line;
    }
    if (line_number == 1) {
      EXPECT_EQ(line, drop ? "FCM: DROP FRAME" : "FCM: NON-DROP FRAME");
    }
    if (line_number < 2) continue;
    if (line.starts_with("* ")) {
      if (line.starts_with("* SOURCE FILE: ") && !events.empty())
        events.back().source_file = line.substr(15);
      continue;
    }
    EXPECT_EQ(line.size(), 76U) << line;
    if (line.size() != 76) continue;
    events.push_back(read_event(line, nominal, drop));
    const ReadEvent& event = events.back();
    EXPECT_EQ(event.number, static_cast<int>(events.size()));
    EXPECT_LT(event.record_in, event.record_out) << line;
    EXPECT_EQ(event.source_out - event.source_in, event.record_out - event.record_in) << line;
  }
  return events;
}

/// Events of the lists of a session, one after the other.
std::vector<ReadEvent> read_lists(const std::vector<std::string>& lists, int nominal, bool drop) {
  std::vector<ReadEvent> events;
  for (const std::string& list : lists)
    for (const ReadEvent& event : read_list(list, nominal, drop)) events.push_back(event);
  return events;
}

void expect_no_overlap(const std::vector<ReadEvent>& events) {
  std::map<std::string, std::int64_t> end_of_channel;
  for (const ReadEvent& event : events) {
    const auto before = end_of_channel.find(event.channels);
    if (before != end_of_channel.end()) {
      EXPECT_GE(event.record_in, before->second);
    }
    end_of_channel[event.channels] = event.record_out;
  }
}

std::vector<const LineupTrack*> used_tracks(const Lineup& lineup) {
  std::vector<const LineupTrack*> used;
  for (const LineupTrack& track : lineup.tracks)
    if (track.is_used()) used.push_back(&track);
  return used;
}

/// Letters for bytes that are no ASCII, as lists write names.
std::string plain(const std::string& name) {
  std::string text;
  for (const char each : name) {
    const bool inside_letter = (each & 0xC0) == 0x80;
    if (!inside_letter) text += each >= 0x20 && each < 0x7F ? each : '_';
  }
  return text;
}

struct RandomCase {
  const char* rate;
  int nominal;
  bool drop;
  double frames_per_s;
};
constexpr RandomCase kCases[] = {{"25", 25, false, 25.0},
                                 {"24", 24, false, 24.0},
                                 {"23.976", 24, false, 24 / 1.001},
                                 {"29.97df", 30, true, 30 / 1.001},
                                 {"29.97", 30, false, 30 / 1.001},
                                 {"59.94df", 60, true, 60 / 1.001},
                                 {"50", 50, false, 50.0}};

/// Checks events against the map, at their ends and where the lot falls.
class RandomSession {
 public:
  RandomSession(std::uint64_t seed, const RandomCase& row)
      : lineup_(random_lineup(seed)), row_(row), random_{seed, 7} {
    record_ = {frame_rate_from_text(row.rate).value(), 0, random_.between(-3.0, 3.0)};
    record_.start_frame = frame_of_timecode("01:00:00:00", record_.rate).operator*();
    events_ = read_lists(event_lists(lineup_, record_), row.nominal, row.drop);
  }

  void check() {
    expect_no_overlap(events_);
    const auto used = used_tracks(lineup_);
    for (const ReadEvent& event : events_) {
      const std::size_t channel =
          event.channels == "A" ? 0 : std::stoul(event.channels.substr(1)) - 1;
      ASSERT_LT(channel, used.size());
      check_event(event, *used[channel]);
    }
    for (std::size_t channel = 0; channel < used.size(); ++channel)
      check_coverage(*used[channel], channel == 0 ? "A" : 'A' + std::to_string(channel + 1));
  }
  std::size_t events() const { return events_.size(); }

 private:
  double line_s(double record_frame) const {
    return record_.origin_s +
           (record_frame - static_cast<double>(record_.start_frame)) / row_.frames_per_s;
  }

  void check_event(const ReadEvent& event, const LineupTrack& track) {
    double part_from_s = 0.0;
    double part_length_s = 0.0;
    for (const TrackPart& part : track.parts) {
      part_length_s = static_cast<double>(part.frames) / track.rate_hz;
      if (plain(part.file) == event.source_file) break;
      part_from_s += part_length_s;
      part_length_s = 0.0;
    }
    ASSERT_GT(part_length_s, 0.0) << event.source_file;
    EXPECT_GE(event.source_in, 0);
    EXPECT_LE(static_cast<double>(event.source_out), part_length_s * row_.frames_per_s + 1e-6);
    const auto length = static_cast<double>(event.record_out - event.record_in);
    if (length < 3.0) return;
    // Not the ends themselves: they are rounded, so another span may begin half a frame away.
    for (const double frame : {1.0, 0.3 * length, 0.5 * length, 0.7 * length, length - 1.0}) {
      const auto track_s =
          track.map->to_track(line_s(static_cast<double>(event.record_in) + frame));
      ASSERT_TRUE(track_s) << event.number;
      const double source_frame = (*track_s - part_from_s) * row_.frames_per_s;
      // Half a frame for rounding; from one frame to the next drift adds a little.
      EXPECT_NEAR(static_cast<double>(event.source_in) + frame, source_frame, 0.5 + 1e-3)
          << event.number;
    }
  }

  /// What lies further than a frame (and a half, for rounding) from every end is listed once.
  void check_coverage(const LineupTrack& track, const std::string& channels) {
    const double margin_s = 2.0 / row_.frames_per_s;
    std::vector<double> joins_s;
    double end_s = 0.0;
    for (const TrackPart& part : track.parts)
      joins_s.push_back(end_s += static_cast<double>(part.frames) / track.rate_hz);
    for (const Span& span : track.map->spans()) {
      for (int i = 0; i < 20; ++i) {
        const double track_s = random_.between(span.from_s, span.to_s);
        const bool near_join = std::any_of(joins_s.begin(), joins_s.end(), [&](double join_s) {
          return std::abs(track_s - join_s) < margin_s;
        });
        if (near_join || track_s < span.from_s + margin_s || track_s > span.to_s - margin_s)
          continue;
        const double frame = static_cast<double>(record_.start_frame) +
                             (*track.map->to_line(track_s) - record_.origin_s) * row_.frames_per_s;
        const auto holding = std::count_if(events_.begin(), events_.end(), [&](const auto& event) {
          return event.channels == channels && static_cast<double>(event.record_in) <= frame &&
                 frame < static_cast<double>(event.record_out);
        });
        EXPECT_EQ(holding, 1) << track_s;
      }
    }
  }

  Lineup lineup_;
  RandomCase row_;
  simulator::Random random_;
  RecordTime record_;
  std::vector<ReadEvent> events_;
};

TEST(EventList, LooksAsItAlwaysDid) {
  const auto lists = event_lists(sample_lineup(), {});
  ASSERT_EQ(lists.size(), 1U);
  if (std::getenv("KILTER_BLESS") != nullptr) test::write_text(kGolden, lists[0]);
  EXPECT_EQ(lists[0], test::read_text(kGolden));
}

TEST(EventList, PutsEverySoundWithinHalfAFrameOfItsPlaceAndLeavesNoneOut) {
  std::size_t events = 0;
  for (std::uint64_t seed = 0; seed < 140; ++seed) {
    RandomSession session(seed, kCases[seed % std::size(kCases)]);
    SCOPED_TRACE(testing::Message() << "seed " << seed);
    session.check();
    events += session.events();
    if (testing::Test::HasFailure()) return;
  }
  EXPECT_GT(events, 1000U);  // or the lots were empty
}

TEST(EventList, EveryFileHasOneReelAndNoTwoShareIt) {
  for (std::uint64_t seed = 0; seed < 50; ++seed) {
    const Lineup lineup = random_lineup(seed);
    std::map<std::string, std::string> reel_of;
    std::set<std::string> reels;
    auto events = read_lists(event_lists(lineup, {}), 25, false);
    for (const LineupTrack* track : used_tracks(lineup))
      for (const auto& event : read_lists(track_event_lists(lineup, *track, {}), 25, false))
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
  const auto events = read_lists(event_lists(plain_lineup(files), {}), 25, false);
  ASSERT_EQ(events.size(), reels.size());
  for (std::size_t i = 0; i < reels.size(); ++i) EXPECT_EQ(events[i].reel, reels[i].second);
}

TEST(EventList, CutsADriftingClockWhereItHasGainedAFrame) {
  // 1000 ppm at 25 fps: a frame in 1000, the first after 500.
  const auto events =
      read_lists(event_lists(plain_lineup({"keeper.wav"}, 1000.0, 101.0), {}), 25, false);
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
  EXPECT_EQ(read_lists(event_lists(plain_lineup({"a.wav"}), {}), 25, false).size(), 1U);
  Lineup lineup = plain_lineup({"a.wav"});
  std::vector<Span> spans;
  double line_s = 0.0;
  for (int i = 0; i < 20; ++i) {
    const double line_to_s = line_s + 5.0 * (1.0 + (i % 2 == 0 ? 9e-6 : -9e-6));
    spans.push_back({5.0 * i, 5.0 * (i + 1), line_s, line_to_s, 1.0});
    line_s = line_to_s;
  }
  lineup.tracks[0].map = *TimeMap::make(spans);
  EXPECT_EQ(read_lists(event_lists(lineup, {}), 25, false).size(), 1U);
}

TEST(EventList, ASeamIsACutHoweverSmall) {
  Lineup lineup = plain_lineup({"a.wav"});
  lineup.tracks[0].map =
      *TimeMap::make({{0.0, 50.0, 0.0, 50.0, 1.0}, {50.0, 100.0, 50.001, 100.001, 1.0}});
  const auto events = read_lists(event_lists(lineup, {}), 25, false);
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
  const auto first = read_list(lists[0], 25, false);
  const auto second = read_list(lists[1], 25, false);
  EXPECT_EQ(first.size(), 999U);
  EXPECT_EQ(second.size(), 201U);
  auto all = first;
  all.insert(all.end(), second.begin(), second.end());
  expect_no_overlap(all);
  EXPECT_NE(lists[1].find("* LIST 2 OF 2\r\n"), std::string::npos);
}

TEST(EventList, TracksThatAreNotUsedAreNamedInAComment) {
  Lineup lineup = plain_lineup({"a.wav", "b.wav"});
  lineup.tracks[0].map.reset();
  lineup.tracks[0].standing = Standing::unplaced;
  lineup.tracks[1].role = Role::ignore;
  const auto lists = event_lists(lineup, {});
  ASSERT_EQ(lists.size(), 1U);
  EXPECT_TRUE(read_list(lists[0], 25, false).empty());
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
  EXPECT_TRUE(read_list(list, 25, false).empty());
  EXPECT_NE(list.find("* NOT LISTED: A.WAV"), std::string::npos);
}

TEST(EventList, WhatLiesBeforeMidnightIsLeftOutAndSaid) {
  Lineup lineup = plain_lineup({"a.wav"});
  lineup.tracks[0].map = *TimeMap::line(-10.0, 0.0, 100.0, 1.0);
  const std::string list = event_lists(lineup, {{}, 0, 0.0})[0];
  const auto events = read_list(list, 25, false);
  ASSERT_EQ(events.size(), 1U);
  EXPECT_EQ(events[0].record_in, 0);
  EXPECT_EQ(events[0].source_in, 250);
  EXPECT_NE(list.find("BEYOND THE DAY"), std::string::npos);
  // The same at the day's other end.
  std::string late = event_lists(lineup, {{}, 2160000 - 100, 0.0})[0];
  const std::size_t midnight = late.find("00:00:00:00\r");
  ASSERT_NE(midnight, std::string::npos);
  const auto last = read_list(late.replace(midnight, 2, "24"), 25, false);
  ASSERT_EQ(last.size(), 1U);
  EXPECT_EQ(last[0].record_out, 2160000);
  EXPECT_NE(late.find("BEYOND THE DAY"), std::string::npos);
}

TEST(EventList, AFilesOwnTimecodeShiftsItsSourceTimes) {
  const SourceFactsOf facts = [](const TrackPart&) {
    return SourceFacts{48000 * 3600 + 960, false};
  };
  const auto events = read_lists(event_lists(plain_lineup({"a.wav"}), {}, facts), 25, false);
  ASSERT_EQ(events.size(), 1U);
  // It begins half a frame after a label, so its first whole frame is the next.
  EXPECT_EQ(events[0].source_in, 90001);
  EXPECT_LE(events[0].source_out, 90001 + 2499);
}

TEST(EventList, OnePictureIsListedBesideItsSound) {
  const SourceFactsOf facts = [](const TrackPart& part) {
    return SourceFacts{0, part.file != "a.wav"};
  };
  const auto events =
      read_lists(event_lists(plain_lineup({"a.wav", "b.mov", "c.mov"}), {}, facts), 25, false);
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
  const auto all = read_lists(event_lists(lineup, {}), 25, false);
  const auto own = read_lists(track_event_lists(lineup, lineup.tracks[1], {}), 25, false);
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
  const auto events = read_list(lists[0], 30, true);
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
