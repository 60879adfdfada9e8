#include "kilter/edits/event_list.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "clips.h"
#include "kilter/base/clock_text.h"
#include "plain_text.h"
#include "reels.h"

namespace kilter::edits {
namespace {

constexpr std::size_t kMostEvents = 999;
constexpr std::size_t kLongestTitle = 70;
constexpr std::string_view kLineEnd = "\r\n";

using Comments = std::vector<std::string>;

struct Event {
  std::string reel;
  std::string channels;
  std::int64_t source_from{0};
  std::int64_t record_from{0};
  std::int64_t length{0};
  Comments comments;
};

Grid grid_of(const RecordTime& record) {
  return {record.rate.numerator(), record.rate.denominator(), record.rate.frames_per_day(),
          record.start_frame,      record.origin_s,           1};
}

std::string loud(std::string_view text) { return upper_case(plain_text(text)); }

std::string audio_code(std::size_t track) {
  return track == 0 ? "A" : fmt::format("A{}", track + 1);
}

Comments comments_of(const Clip& clip, const Grid& grid) {
  const Piece& piece = clip.piece;
  const LineupTrack& track = *piece.track;
  return {"FROM CLIP NAME: " + loud(track.name), "SOURCE FILE: " + plain_text(piece.file().file),
          fmt::format("CHANNEL {}, SAMPLE {:.3f} OF {} AT RECORD IN, {} A SECOND",
                      piece.file().channel, piece.frame_in_file(grid.line_s(clip.record_from)),
                      piece.file().frames, track.rate_hz),
          fmt::format("SPEED {:.9f}, {}, RIGHT TO {:.3f} US, POLARITY {}", 1.0 / piece.span.rate(),
                      upper_case(to_text(track.standing)), piece.span.uncertainty_us,
                      track.inverted ? "INVERTED" : "NORMAL")};
}

/// What rounding to whole frames leaves between a picture and its sound in the stem.
std::string picture_text(double early_s) {
  return fmt::format("PICTURE {:.3f} MS {} AGAINST ITS SOUND IN THE STEM", 1e3 * std::abs(early_s),
                     early_s < 0.0 ? "LATE" : "EARLY");
}

/// Collects the events of many tracks.
class EventBuilder {
 public:
  EventBuilder(const Lineup& lineup, const RecordTime& record, const SourceFactsOf& facts_of)
      : grid_(grid_of(record)), facts_of_(facts_of) {
    // All files get theirs in one order, so that a file has one reel in every list.
    for (const LineupTrack& track : lineup.tracks)
      for (const TrackPart& part : track.parts) reels_.of(part.file);
  }

  void add(const LineupTrack& track, const std::string& channels) {
    const TrackClips clips = clips_of(track, grid_, facts_of_);
    for (const Clip& clip : clips.clips) {
      Event event{reels_.of(clip.piece.file().file),
                  channels,
                  clip.source_from,
                  clip.record_from,
                  clip.length,
                  comments_of(clip, grid_)};
      if (shows_picture(clip)) {
        events_.push_back(event);
        events_.back().channels = 'V';
        events_.back().comments.push_back(picture_text(clip.early_s));
      }
      events_.push_back(std::move(event));
    }
    note_what_is_missing(track, clips);
  }

  void note(const std::string& text) { notes_.push_back(text); }
  std::vector<Event> events() const {
    std::vector<Event> sorted = events_;
    std::stable_sort(sorted.begin(), sorted.end(),
                     [](const Event& a, const Event& b) { return a.record_from < b.record_from; });
    return sorted;
  }
  const Comments& notes() const { return notes_; }

 private:
  /// There is one picture at a time: that of the first track that has any.
  bool shows_picture(const Clip& clip) {
    if (!facts_of_ || !facts_of_(clip.piece.file()).has_picture) return false;
    if (picture_ == nullptr) picture_ = clip.piece.track;
    return picture_ == clip.piece.track;
  }

  void note_what_is_missing(const LineupTrack& track, const TrackClips& clips) {
    if (clips.other_speed)
      note("NOT LISTED: " + loud(track.name) +
           ", OR PART OF IT: ITS SPEED IS FAR FROM 1, TAKE ITS STEM");
    if (clips.beyond_day)
      note("NOT LISTED: OF " + loud(track.name) + " WHAT LIES BEYOND THE DAY OF TIMECODE");
    if (clips.clips.empty() && !clips.other_speed && !clips.beyond_day)
      note("NOT LISTED: " + loud(track.name) + ": SHORTER THAN A FRAME");
  }

  Grid grid_;
  const SourceFactsOf& facts_of_;
  Reels reels_;
  const LineupTrack* picture_{nullptr};
  std::vector<Event> events_;
  Comments notes_;
};

std::string event_text(const Event& event, std::size_t number, const FrameRate& rate) {
  const auto label = [&](std::int64_t frame) { return timecode_text(frame, rate); };
  std::string text =
      fmt::format("{:03}  {:<8} {:<4}  {:<4} {:<3} {} {} {} {}", number, event.reel, event.channels,
                  "C", "", label(event.source_from), label(event.source_from + event.length),
                  label(event.record_from), label(event.record_from + event.length));
  text += kLineEnd;
  for (const std::string& comment : event.comments)
    text.append("* ").append(comment).append(kLineEnd);
  return text;
}

std::string notes_text(const Comments& notes) {
  std::string text;
  for (const std::string& note : notes) text.append("* ").append(note).append(kLineEnd);
  return text;
}

std::string head(const std::string& title, const FrameRate& rate) {
  std::string text = "TITLE: " + title;
  text.append(kLineEnd).append(rate.drop_frame ? "FCM: DROP FRAME" : "FCM: NON-DROP FRAME");
  return text.append(kLineEnd);
}

/// The session's name, cut so that what follows it fits.
std::string title_of(const Lineup& lineup, const RecordTime& record, const std::string& about) {
  const std::string rest = fmt::format("{} {} FPS", about, upper_case(to_text(record.rate)));
  return loud(lineup.session).substr(0, kLongestTitle - 7 - rest.size()) + rest;
}

std::vector<std::string> lists_of(const std::string& title, const std::vector<Event>& events,
                                  const Comments& notes, const RecordTime& record) {
  std::vector<std::string> lists;
  const std::size_t count =
      std::max<std::size_t>(1, (events.size() + kMostEvents - 1) / kMostEvents);
  for (std::size_t list = 0; list < count; ++list) {
    std::string text = head(title, record.rate);
    if (events.empty()) text += notes_text(notes);
    const std::size_t first = list * kMostEvents;
    const std::size_t end = std::min(first + kMostEvents, events.size());
    for (std::size_t i = first; i < end; ++i) {
      text += event_text(events[i], i - first + 1, record.rate);
      if (i > first) continue;
      // Not above the first event: comments there make some readers refuse the list.
      if (count > 1) text += notes_text({fmt::format("LIST {} OF {}", list + 1, count)});
      text += notes_text(notes);
    }
    lists.push_back(std::move(text));
  }
  return lists;
}

std::string start_note(const RecordTime& record) {
  return fmt::format("RECORD {} IS THE FIRST SAMPLE OF EVERY STEM, {} OF THE TIMELINE",
                     timecode_text(record.start_frame, record.rate),
                     clock_text(record.origin_s, 6));
}

void add_common_notes(EventBuilder& builder, const RecordTime& record,
                      const SourceFactsOf& facts_of) {
  builder.note(start_note(record));
  builder.note(facts_of
                   ? "SOURCE TIMES ARE THE FILES' OWN TIMECODE, 00:00:00:00 WHERE THEY HAVE NONE"
                   : "SOURCE TIMES COUNT FROM EACH FILE'S FIRST SAMPLE AS 00:00:00:00");
  builder.note("SOUND LIES WITHIN HALF A FRAME OF ITS PLACE: A FRAME OF DRIFT MAKES A CUT");
  builder.note("EXACT PLACES AND EXACT NAMES ARE IN CUTS.TSV");
}

}  // namespace

std::vector<std::string> event_lists(const Lineup& lineup, const RecordTime& record,
                                     const SourceFactsOf& facts_of) {
  EventBuilder builder(lineup, record, facts_of);
  add_common_notes(builder, record, facts_of);
  const auto used = std::count_if(lineup.tracks.begin(), lineup.tracks.end(),
                                  [](const LineupTrack& track) { return track.is_used(); });
  if (used > 2) {
    builder.note("A, A2, A3 AND SO ON ARE AUDIO TRACKS, WHICH NOT EVERY READER KNOWS BEYOND A2:");
    builder.note("IN BY-TRACK IS A LIST FOR EACH TRACK ALONE, ALWAYS AS A");
  }
  std::size_t channel = 0;
  for (const LineupTrack& track : lineup.tracks) {
    if (track.is_used())
      builder.add(track, audio_code(channel++));
    else
      builder.note((track.map ? "LEFT OUT: " : "NOT PLACED: ") + loud(track.name));
  }
  return lists_of(title_of(lineup, record, ""), builder.events(), builder.notes(), record);
}

std::vector<std::string> track_event_lists(const Lineup& lineup, const LineupTrack& track,
                                           const RecordTime& record,
                                           const SourceFactsOf& facts_of) {
  EventBuilder builder(lineup, record, facts_of);
  add_common_notes(builder, record, facts_of);
  builder.add(track, audio_code(0));
  const std::string about = ' ' + loud(track.name).substr(0, kLongestTitle / 3);
  return lists_of(title_of(lineup, record, about), builder.events(), builder.notes(), record);
}

std::vector<std::string> stem_event_lists(const Lineup& lineup, const StemSet& stems,
                                          const RecordTime& record) {
  Reels reels;
  std::vector<Event> events;
  const Grid grid = grid_of(record);
  const double length_s = static_cast<double>(stems.frames) / stems.rate_hz;
  const std::int64_t length =
      std::min(static_cast<std::int64_t>(std::floor(grid.units(length_s) + 1e-6)),
               grid.units_per_day - record.start_frame);
  for (const StemFile& stem : stems.stems) {
    if (length < 1) break;
    Event event{reels.of(stem.file), audio_code(events.size()), 0, record.start_frame, length, {}};
    event.comments = {"FROM CLIP NAME: " + loud(stem.track),
                      "SOURCE FILE: " + plain_text(stem.file),
                      fmt::format("SAMPLES 0 TO {}, {} A SECOND", stems.frames, stems.rate_hz)};
    events.push_back(std::move(event));
  }
  Comments notes{start_note(record),
                 "SOURCE TIMES COUNT FROM EACH STEM'S FIRST SAMPLE AS 00:00:00:00"};
  if (past_midnight_s(record, length_s) > 0.0)
    notes.push_back("NOT LISTED: WHAT LIES BEYOND THE DAY OF TIMECODE");
  return lists_of(title_of(lineup, record, " STEMS"), events, notes, record);
}

}  // namespace kilter::edits
