#include "kilter/edits/decision_list.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "clips.h"
#include "kilter/base/text_hash.h"
#include "plain_text.h"

namespace kilter::edits {
namespace {

constexpr std::size_t kLongestText = 255;
/// A step of a clock's drift: half of it is as far as sound may lie from its place.
constexpr std::int64_t kStepsPerSecond = 1000;

struct NamedSampleRate {
  std::int64_t samples_per_s;
  char sign;  ///< before the samples in a time
};
constexpr std::array kSampleRates{NamedSampleRate{44100, '|'}, NamedSampleRate{48000, '/'},
                                  NamedSampleRate{88200, '@'}, NamedSampleRate{96000, '*'}};

const NamedSampleRate* named_rate(double rate_hz) {
  for (const NamedSampleRate& named : kSampleRates)
    if (static_cast<double>(named.samples_per_s) == rate_hz) return &named;
  return nullptr;
}

/// How a list counts: whole samples in each frame, no pull-down, no labels left out.
struct Count {
  NamedSampleRate rate{48000, '/'};
  std::int64_t frames_per_s{25};

  std::int64_t samples_per_frame() const { return rate.samples_per_s / frames_per_s; }
  std::int64_t samples_per_day() const { return 86400 * rate.samples_per_s; }
};

Count count_of(double rate_hz, const FrameRate& frames) {
  Count count;
  if (const NamedSampleRate* named = named_rate(rate_hz)) count.rate = *named;
  count.frames_per_s = frames.nominal > 30 ? frames.nominal / 2 : frames.nominal;
  if (count.rate.samples_per_s % count.frames_per_s != 0) count.frames_per_s = 25;
  return count;
}

std::string time_text(std::int64_t sample, const Count& count) {
  const std::int64_t second = sample / count.rate.samples_per_s;
  const std::int64_t rest = sample % count.rate.samples_per_s;
  const char sign = count.frames_per_s == 30 ? '|' : count.frames_per_s == 24 ? '=' : '.';
  return fmt::format("{:02}{}{:02}{}{:02}.{:02}{}{:04}", second / 3600, sign, second / 60 % 60,
                     sign, second % 60, rest / count.samples_per_frame(), count.rate.sign,
                     rest % count.samples_per_frame());
}

/// The sample at which a label stands when its frames are shares of its second.
std::int64_t start_sample(const RecordTime& record, const Count& count) {
  const TimecodeLabel label = label_of(record.start_frame, record.rate);
  const std::int64_t second = 3600 * label.hour + 60 * label.minute + label.second;
  return second * count.rate.samples_per_s +
         label.frame * count.rate.samples_per_s / record.rate.nominal;
}

std::string quoted(const std::string& text) {
  return '"' + plain_text(text, "\"\\").substr(0, kLongestText) + '"';
}

/// A path as part of an address: what is no letter, digit, `/` or plain sign by its bytes.
std::string address_of(const std::string& path) {
  std::string address = "URL:file://localhost";
  if (!path.starts_with('/')) address += '/';
  for (const char each : path) {
    const bool plain = (each >= 'a' && each <= 'z') || (each >= 'A' && each <= 'Z') ||
                       (each >= '0' && each <= '9') ||
                       std::string_view("/-_.~").find(each) != std::string_view::npos;
    address +=
        plain ? std::string(1, each) : fmt::format("%{:02X}", static_cast<unsigned char>(each));
  }
  return address;
}

/// An identity of the form that RFC 9562 leaves to the writer: of the text's own hash, so that the
/// same list has the same.
std::string identity_of(std::string_view text) {
  std::array<std::uint64_t, 2> halves{};
  for (std::size_t half = 0; half < halves.size(); ++half)
    halves[half] = text_hash(text, kHashStart + half);
  return fmt::format("{:08x}-{:04x}-8{:03x}-{:04x}-{:012x}", halves[0] >> 32,
                     halves[0] >> 16 & 0xFFFF, halves[0] & 0xFFF, 0x8000 | (halves[1] >> 50),
                     halves[1] & 0xFFFFFFFFFFFF);
}

/// The sections of one list, filled entry by entry.
class ListWriter {
 public:
  ListWriter(const Count& count, const DecisionListHead& head) : count_(count), head_(head) {}

  void add_track(const std::string& name) {
    tracks_ += fmt::format("  (Track) {} {}\n", ++track_count_, quoted(name));
  }

  /// A file's number in the index.
  std::size_t file(const std::string& name, std::int64_t samples) {
    const auto [entry, is_new] = numbers_.try_emplace(name, numbers_.size() + 1);
    if (!is_new) return entry->second;
    const std::string path = name.starts_with('/') ? name : head_.folder + '/' + name;
    index_ += fmt::format("  (Index) {:04} (F) \"{}\" _ {} {} {} N\n", entry->second,
                          address_of(path), time_text(0, count_),
                          time_text(std::min(samples, count_.samples_per_day() - 1), count_),
                          quoted(name));
    return entry->second;
  }

  /// A cut on the track that was added last.
  void cut(std::size_t file, int channel, const Clip& clip, const std::string& name) {
    entries_ +=
        fmt::format("  (Entry) {:04} (Cut) I {:04} {} {} {} {} {} _\n    (Rem) NAME {}\n",
                    ++entry_count_, file, channel, track_count_,
                    time_text(clip.source_from, count_), time_text(clip.record_from, count_),
                    time_text(clip.record_from + clip.length, count_), quoted(name));
  }

  std::string text(const std::string& title, const std::string& notes, std::int64_t start) const {
    const std::string rest = fmt::format(
        "<PROJECT>\n  (PROJ_TITLE) {}\n  (PROJ_ORIGINATOR) \"Kilter\"\n  (PROJ_CREATE_DATE) {}\n"
        "  (PROJ_NOTES) {}\n  (PROJ_CLIENT_DATA) \"\"\n</PROJECT>\n"
        "<SEQUENCE>\n  (SEQ_SAMPLE_RATE) S{}\n  (SEQ_FRAME_RATE) {}\n  (SEQ_ADL_LEVEL) 1\n"
        "  (SEQ_CLEAN) TRUE\n  (SEQ_SORT) 0\n  (SEQ_MULTICHAN) FALSE\n  (SEQ_DEST_START) {}\n"
        "</SEQUENCE>\n<TRACKLIST>\n{}</TRACKLIST>\n<SOURCE_INDEX>\n{}</SOURCE_INDEX>\n"
        "<EVENT_LIST>\n{}</EVENT_LIST>\n</ADL>\n",
        quoted(title), head_.created, quoted(notes), count_.rate.samples_per_s, count_.frames_per_s,
        time_text(start, count_), tracks_, index_, entries_);
    return fmt::format(
               "<ADL>\n<VERSION>\n  (ADL_ID) \"06,64,43,52,01,01,01,04,01,02,03,04,\"\n  (ADL_UID) "
               "{}\n"
               "  (VER_ADL_VERSION) 01.02\n  (VER_CREATOR) \"Kilter\"\n  (VER_CRTR) "
               "01.00\n</VERSION>\n",
               identity_of(rest)) +
           rest;
  }

 private:
  const Count& count_;
  const DecisionListHead& head_;
  std::map<std::string, std::size_t> numbers_;
  std::size_t track_count_{0};
  std::size_t entry_count_{0};
  std::string tracks_, index_, entries_;
};

std::int64_t samples_of(double frames, double rate_hz, const Count& count) {
  const double samples = frames / rate_hz * static_cast<double>(count.rate.samples_per_s);
  return static_cast<std::int64_t>(
      std::floor(std::min(samples, static_cast<double>(count.samples_per_day())) + 1e-6));
}

Grid grid_of(const RecordTime& record, const Count& count) {
  return {count.rate.samples_per_s,
          1,
          count.samples_per_day() - 1,
          start_sample(record, count),
          record.origin_s,
          count.rate.samples_per_s / kStepsPerSecond};
}

/// What is not in the list, for its notes.
std::string left_out_text(const std::string& names) {
  return names.empty() ? "" : " Not in this list: " + names + '.';
}

std::string cut_short_text(const std::string& names) {
  return names.empty() ? "" : " Up to midnight, where timecode begins anew: " + names + '.';
}

}  // namespace

std::string decision_list(const Lineup& lineup, const RecordTime& record,
                          const DecisionListHead& head) {
  const Count count = count_of(lineup.timeline_rate_hz, record.rate);
  const Grid grid = grid_of(record, count);
  ListWriter writer(count, head);
  std::string left_out;
  std::string cut_short;
  for (const LineupTrack& track : lineup.tracks) {
    for (const TrackPart& part : track.parts)
      writer.file(part.file, samples_of(static_cast<double>(part.frames), track.rate_hz, count));
    const TrackClips clips = track.is_used() ? clips_of(track, grid, {}) : TrackClips{};
    if (clips.clips.empty() || clips.other_speed)
      left_out += (left_out.empty() ? "" : ", ") + track.name;
    else if (clips.beyond_day)
      cut_short += (cut_short.empty() ? "" : ", ") + track.name;
    if (!track.is_used()) continue;
    writer.add_track(track.name);
    for (const Clip& clip : clips.clips)
      writer.cut(writer.file(clip.piece.file().file, 0), clip.piece.file().channel, clip,
                 track.name + (track.inverted ? " (inverted)" : ""));
  }
  return writer.text(lineup.session,
                     "The original files. Drift is followed in steps: sound lies within 0.5 ms of "
                     "its place. Exact places: cuts.tsv." +
                         left_out_text(left_out) + cut_short_text(cut_short),
                     grid.start);
}

std::string stem_decision_list(const Lineup& lineup, const StemSet& stems, const RecordTime& record,
                               const DecisionListHead& head) {
  if (named_rate(stems.rate_hz) == nullptr) return "";
  const Count count = count_of(stems.rate_hz, record.rate);
  const Grid grid = grid_of(record, count);
  Clip whole;
  whole.record_from = grid.start;
  whole.length = std::min(stems.frames, grid.units_per_day - grid.start);
  ListWriter writer(count, head);
  for (const StemFile& stem : stems.stems) {
    writer.add_track(stem.track);
    writer.cut(writer.file(stem.file, stems.frames), 1, whole, stem.track);
  }
  return writer.text(
      lineup.session + " stems",
      whole.length == stems.frames
          ? "The stems, in step to the sample."
          : "The stems, in step to the sample, up to midnight, where timecode begins anew.",
      grid.start);
}

}  // namespace kilter::edits
