#include "decision_list_reader.h"

#include <algorithm>
#include <cctype>
#include <cmath>

#include "refused.h"
#include "simulator/random.h"

namespace kilter::edits {
namespace {

std::vector<std::string> words_of(const std::string& text) {
  std::vector<std::string> words;
  for (std::size_t at = 0; at < text.size();) {
    if (std::isspace(static_cast<unsigned char>(text[at])) != 0) {
      ++at;
      continue;
    }
    const char end = text[at] == '"' ? '"' : text[at] == '(' ? ')' : text[at] == '<' ? '>' : ' ';
    std::size_t to = at + 1;
    while (to < text.size() &&
           (end == ' ' ? std::isspace(static_cast<unsigned char>(text[to])) == 0 : text[to] != end))
      ++to;
    require(end == ' ' || to < text.size(), "a text is not closed");
    if (end != ' ') ++to;
    words.push_back(text.substr(at, to - at));
    at = to;
  }
  return words;
}

std::int64_t number_in(const std::string& text) {
  require(!text.empty() && text.find_first_not_of("0123456789") == std::string::npos &&
              text.size() < 16,
          '"' + text + "\" is no number");
  return std::stoll(text);
}

/// Five numbers with any signs between them, as the careful reader takes them.
std::int64_t sample_of(const std::string& time, const Count& count) {
  require(time.size() == 16U, time);
  const auto number = [&](std::size_t at, std::size_t digits) {
    return number_in(time.substr(at, digits));
  };
  const std::int64_t samples_per_frame = count.samples_per_s / count.frames_per_s;
  require(samples_per_frame * count.frames_per_s == count.samples_per_s, "uneven frames");
  require(number(3, 2) < 60 && number(6, 2) < 60, time);
  require(number(9, 2) < count.frames_per_s && number(12, 4) < samples_per_frame, time);
  return (number(0, 2) * 3600 + number(3, 2) * 60 + number(6, 2)) * count.samples_per_s +
         number(9, 2) * samples_per_frame + number(12, 4);
}

class PlaceCheck {
 public:
  PlaceCheck(const Sections& sections, const Lineup& lineup, const RecordTime& record,
             std::uint64_t seed)
      : lineup_(lineup),
        record_(record),
        count_(count_of(sections)),
        cuts_(cuts_of(sections)),
        random_{seed, 9} {}

  void check() {
    require(static_cast<double>(count_.samples_per_s) == lineup_.timeline_rate_hz,
            "does not count in samples of the timeline");
    std::map<std::size_t, std::int64_t> end_of_track;
    for (const ReadCut& cut : cuts_) {
      require(cut.record_in < cut.record_out, "a cut is empty");
      require(cut.record_in >= end_of_track[cut.track], "cuts overlap");
      end_of_track[cut.track] = cut.record_out;
      check_cut(cut);
    }
    std::size_t number = 0;
    for (const LineupTrack& track : lineup_.tracks)
      if (track.is_used()) check_coverage(track, ++number);
  }

 private:
  double line_s(double sample) const {
    return record_.origin_s + sample / static_cast<double>(count_.samples_per_s) - 3600.0;
  }

  void check_cut(const ReadCut& cut) const {
    std::size_t number = 0;
    std::size_t file = 0;
    for (const LineupTrack& track : lineup_.tracks) {
      if (track.is_used()) ++number;
      double part_from_s = 0.0;
      for (const TrackPart& part : track.parts) {
        if (++file == cut.file) {
          require(number == cut.track && part.channel == cut.channel, "another's track or channel");
          check_place(cut, track, part_from_s);
        }
        part_from_s += static_cast<double>(part.frames) / track.rate_hz;
      }
    }
    require(cut.file >= 1 && cut.file <= file, "a cut of no file");
  }

  void check_place(const ReadCut& cut, const LineupTrack& track, double part_from_s) const {
    const auto rate_hz = static_cast<double>(count_.samples_per_s);
    const auto length = static_cast<double>(cut.record_out - cut.record_in);
    if (length < 6.0) return;
    for (const double samples : {2.0, 0.3 * length, 0.6 * length, length - 2.0}) {
      const auto track_s =
          track.map->to_track(line_s(static_cast<double>(cut.record_in) + samples));
      require(track_s.has_value(), "a cut where the map has no sound");
      // Half a millisecond of drift, half a sample for rounding, a little for the arithmetic.
      const double off_s =
          (static_cast<double>(cut.source_in) + samples) / rate_hz - (*track_s - part_from_s);
      require(std::abs(off_s) <= 0.5e-3 + 0.51 / rate_hz,
              "a cut lies " + std::to_string(off_s) + " s from its place");
    }
  }

  /// Two milliseconds from every end sound is listed once.
  void check_coverage(const LineupTrack& track, std::size_t number) {
    constexpr double kMargin_s = 2e-3;
    for (const Span& span : track.map->spans()) {
      for (int i = 0; i < 10; ++i) {
        const double track_s = random_.between(span.from_s, span.to_s);
        double join_s = 0.0;
        bool near_end = track_s < span.from_s + kMargin_s || track_s > span.to_s - kMargin_s;
        for (const TrackPart& part : track.parts) {
          join_s += static_cast<double>(part.frames) / track.rate_hz;
          near_end = near_end || std::abs(track_s - join_s) < kMargin_s;
        }
        if (near_end) continue;
        const double at = (*track.map->to_line(track_s) - line_s(0.0)) *
                          static_cast<double>(count_.samples_per_s);
        const auto holding = std::count_if(cuts_.begin(), cuts_.end(), [&](const ReadCut& cut) {
          return cut.track == number && static_cast<double>(cut.record_in) <= at &&
                 at < static_cast<double>(cut.record_out);
        });
        require(holding == 1, "track " + std::to_string(number) + " at " + std::to_string(track_s) +
                                  " s is listed " + std::to_string(holding) + " times");
      }
    }
  }

  const Lineup& lineup_;
  RecordTime record_;
  Count count_;
  std::vector<ReadCut> cuts_;
  simulator::Random random_;
};

}  // namespace

Sections read_decision_list(const std::string& text) {
  Sections sections;
  std::vector<std::string> open;  // sections lie in one that holds all
  for (const char each : text)
    require((each >= 0x20 && each < 0x7F) || each == '\n', "a letter that is none of the form's");
  for (const std::string& word : words_of(text)) {
    // An address, which cannot be shortened, may be longer than other texts.
    require(word.size() <= 257U || word.starts_with("\"URL:"), word + " is too long");
    if (word.starts_with("</")) {
      require(!open.empty() && word == "</" + open.back() + '>', word + " closes another section");
      open.pop_back();
    } else if (word.starts_with("<")) {
      open.push_back(word.substr(1, word.size() - 2));
    } else if (require(!open.empty(), word + " stands in no section");
               word.starts_with("(") && word != "(F)" && word != "(Cut)") {
      sections[open.back()].push_back({word});
    } else {
      require(!sections[open.back()].empty(), word + " belongs to no record");
      sections[open.back()].back().push_back(word);
    }
  }
  require(open.empty(), "a section is not closed");
  return sections;
}

std::string value_of(const Sections& sections, const std::string& section, const std::string& key) {
  const auto found = sections.find(section);
  require(found != sections.end(), section + " is missing");
  for (const Record& record : found->second)
    if (record[0] == key && record.size() > 1) return record[1];
  throw Refused(key + " is missing");
}

Count count_of(const Sections& sections) {
  const Count count{number_in(value_of(sections, "SEQUENCE", "(SEQ_SAMPLE_RATE)").substr(1)),
                    number_in(value_of(sections, "SEQUENCE", "(SEQ_FRAME_RATE)"))};
  require(count.samples_per_s > 0 && count.frames_per_s > 0, "counts nothing");
  return count;
}

std::vector<ReadCut> cuts_of(const Sections& sections) {
  const Count count = count_of(sections);
  std::vector<ReadCut> cuts;
  const auto list = sections.find("EVENT_LIST");
  if (list == sections.end()) return cuts;
  for (const Record& record : list->second) {
    if (record[0] != "(Entry)") continue;
    require(record.size() == 11U, "an entry of other than ten words");
    require(number_in(record[1]) == std::ssize(cuts) + 1, "entries are not numbered in a row");
    require(record[2] + record[3] + record[10] == "(Cut)I_", "an entry that is no cut");
    cuts.push_back({static_cast<std::size_t>(number_in(record[4])),
                    static_cast<std::size_t>(number_in(record[6])),
                    static_cast<int>(number_in(record[5])), sample_of(record[7], count),
                    sample_of(record[8], count), sample_of(record[9], count)});
  }
  return cuts;
}

void check_cut_places(const Sections& sections, const Lineup& lineup, const RecordTime& record,
                      std::uint64_t seed) {
  PlaceCheck(sections, lineup, record, seed).check();
}

}  // namespace kilter::edits
