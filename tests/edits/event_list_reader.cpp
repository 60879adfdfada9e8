#include "event_list_reader.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <sstream>

#include "refused.h"
#include "simulator/random.h"

namespace kilter::edits {
namespace {

std::int64_t number_in(const std::string& text) {
  require(!text.empty() && text.find_first_not_of("0123456789") == std::string::npos &&
              text.size() < 10,
          '"' + text + "\" is no number");
  return std::stoll(text);
}

/// A label's frame, by counting the minutes whose first labels are left out.
std::int64_t frame_of(const std::string& label, int nominal, bool drop) {
  require(label[2] == ':' && label[5] == ':' && label[8] == (drop ? ';' : ':'), label);
  const std::int64_t hours = number_in(label.substr(0, 2));
  const std::int64_t minutes = number_in(label.substr(3, 2));
  const std::int64_t seconds = number_in(label.substr(6, 2));
  const std::int64_t frames = number_in(label.substr(9, 2));
  require((hours < 24 || label.starts_with("24:00:00")) && minutes < 60 && seconds < 60 &&
              frames < nominal,
          label);
  const bool skipped = drop && minutes % 10 != 0 && seconds == 0 && frames < nominal / 15;
  require(!skipped, label + " is skipped by drop-frame");
  std::int64_t frame = ((hours * 60 + minutes) * 60 + seconds) * nominal + frames;
  for (std::int64_t minute = 1; minute <= hours * 60 + minutes; ++minute)
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
  // What ends with the day has the label that begins it, and a file may go on past midnight.
  const std::int64_t day = frame_of(drop ? "24:00:00;00" : "24:00:00:00", nominal, drop);
  const auto source_end = [&] { return time(41) < time(29) ? time(41) + day : time(41); };
  const auto record_end = [&] { return time(65) == 0 && time(53) > 0 ? day : time(65); };
  ReadEvent event{static_cast<int>(number_in(line.substr(0, 3))),
                  without_blanks(line.substr(5, 8)),
                  without_blanks(line.substr(14, 4)),
                  "",
                  time(29),
                  source_end(),
                  time(53),
                  record_end()};
  require(is_reel(event.reel), line);
  require(event.channels == "V" || event.channels.starts_with('A'), line);
  require(line.substr(18, 11) == "  C        ", line);
  for (const std::size_t blank : {3U, 4U, 13U, 40U, 52U, 64U}) require(line[blank] == ' ', line);
  return event;
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

/// Checks events against the maps, at their ends and where the lot falls.
class PlaceCheck {
 public:
  PlaceCheck(const std::vector<ReadEvent>& events, const Lineup& lineup, const RecordTime& record,
             std::uint64_t seed)
      : events_(events),
        used_(used_tracks(lineup)),
        record_(record),
        frames_per_s_(static_cast<double>(record.rate.numerator()) /
                      static_cast<double>(record.rate.denominator())),
        random_{seed, 7} {}

  void check() {
    for (const ReadEvent& event : events_) {
      const std::size_t channel =
          event.channels == "A" ? 0
                                : static_cast<std::size_t>(number_in(event.channels.substr(1))) - 1;
      require(channel < used_.size(), event.channels + " is no track");
      check_event(event, *used_[channel]);
    }
    for (std::size_t channel = 0; channel < used_.size(); ++channel)
      check_coverage(*used_[channel], channel == 0 ? "A" : 'A' + std::to_string(channel + 1));
  }

 private:
  double line_s(double record_frame) const {
    return record_.origin_s +
           (record_frame - static_cast<double>(record_.start_frame)) / frames_per_s_;
  }

  void check_event(const ReadEvent& event, const LineupTrack& track) const {
    const std::string number = "event " + std::to_string(event.number) + ": ";
    double part_from_s = 0.0;
    double part_length_s = 0.0;
    for (const TrackPart& part : track.parts) {
      part_length_s = static_cast<double>(part.frames) / track.rate_hz;
      if (plain(part.file) == event.source_file) break;
      part_from_s += part_length_s;
      part_length_s = 0.0;
    }
    require(part_length_s > 0.0, number + event.source_file + " is no file of its track");
    require(event.source_in >= 0 &&
                static_cast<double>(event.source_out) <= part_length_s * frames_per_s_ + 1e-6,
            number + "beyond its file");
    const auto length = static_cast<double>(event.record_out - event.record_in);
    if (length < 3.0) return;
    // Not the ends themselves: they are rounded, so another span may begin half a frame away.
    for (const double frame : {1.0, 0.3 * length, 0.5 * length, 0.7 * length, length - 1.0}) {
      const auto track_s =
          track.map->to_track(line_s(static_cast<double>(event.record_in) + frame));
      require(track_s.has_value(), number + "where the map has no sound");
      const double source_frame = (*track_s - part_from_s) * frames_per_s_;
      // Half a frame for rounding; from one frame to the next drift adds a little.
      require(std::abs(static_cast<double>(event.source_in) + frame - source_frame) <= 0.5 + 1e-3,
              number + "further than half a frame from its place");
    }
  }

  /// What lies further than a frame (and a half, for rounding) from every end is listed once.
  void check_coverage(const LineupTrack& track, const std::string& channels) {
    const double margin_s = 2.0 / frames_per_s_;
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
                             (*track.map->to_line(track_s) - record_.origin_s) * frames_per_s_;
        const auto holding = std::count_if(events_.begin(), events_.end(), [&](const auto& event) {
          return event.channels == channels && static_cast<double>(event.record_in) <= frame &&
                 frame < static_cast<double>(event.record_out);
        });
        require(holding == 1, channels + " at " + std::to_string(track_s) + " s is listed " +
                                  std::to_string(holding) + " times");
      }
    }
  }

  const std::vector<ReadEvent>& events_;
  std::vector<const LineupTrack*> used_;
  RecordTime record_;
  double frames_per_s_;
  simulator::Random random_;
};

void read_line(const std::string& line, int nominal, bool drop, std::vector<ReadEvent>& events) {
  if (line.starts_with("* ")) {
    if (line.starts_with("* SOURCE FILE: ") && !events.empty())
      events.back().source_file = line.substr(15);
    return;
  }
  require(line.size() == 76U, line);
  events.push_back(read_event(line, nominal, drop));
  const ReadEvent& event = events.back();
  require(event.number == static_cast<int>(events.size()), line);
  require(event.record_in < event.record_out, line);
  require(event.source_out - event.source_in == event.record_out - event.record_in, line);
}

}  // namespace

std::vector<ReadEvent> read_event_list(const std::string& text, int nominal, bool drop) {
  std::vector<ReadEvent> events;
  std::istringstream lines(text);
  int line_number = 0;
  for (std::string line; std::getline(lines, line); ++line_number) {
    require(!line.empty() && line.back() == '\r', line);
    line.pop_back();
    for (const char each : line) require(each >= 0x20 && each < 0x7F, line);
    if (line_number == 0)
      require(line.starts_with("TITLE: ") && line.size() <= 70, line);
    else if (line_number == 1)
      require(line == (drop ? "FCM: DROP FRAME" : "FCM: NON-DROP FRAME"), line);
    else
      read_line(line, nominal, drop, events);
  }
  require(line_number >= 2, "the list has no head");
  return events;
}

std::vector<ReadEvent> read_event_lists(const std::vector<std::string>& lists, int nominal,
                                        bool drop) {
  std::vector<ReadEvent> events;
  for (const std::string& list : lists)
    for (const ReadEvent& event : read_event_list(list, nominal, drop)) events.push_back(event);
  return events;
}

void check_no_overlap(const std::vector<ReadEvent>& events) {
  std::map<std::string, std::int64_t> end_of_channel;
  for (const ReadEvent& event : events) {
    const auto before = end_of_channel.find(event.channels);
    require(before == end_of_channel.end() || event.record_in >= before->second,
            event.channels + " overlaps at " + std::to_string(event.record_in));
    end_of_channel[event.channels] = event.record_out;
  }
}

std::vector<const LineupTrack*> used_tracks(const Lineup& lineup) {
  std::vector<const LineupTrack*> used;
  for (const LineupTrack& track : lineup.tracks)
    if (track.is_used()) used.push_back(&track);
  return used;
}

void check_event_places(const std::vector<ReadEvent>& events, const Lineup& lineup,
                        const RecordTime& record, std::uint64_t seed) {
  PlaceCheck(events, lineup, record, seed).check();
}

}  // namespace kilter::edits
