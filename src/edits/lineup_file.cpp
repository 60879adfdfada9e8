#include "kilter/edits/lineup_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>
#include <utility>

#include "json_reader.h"
#include "json_text.h"
#include "kilter/base/utf8.h"
#include "kilter/edits/text_file.h"

namespace kilter::edits {
namespace {

using Json = nlohmann::ordered_json;

constexpr const char* kKind = "kilter lineup";
constexpr int kVersion = 1;
// How far the figures for people may be rounded before they contradict the spans.
constexpr double kStartTolerance_s = 1e-6;
constexpr double kDriftTolerance_ppm = 0.01;
// More than any file holds; so many files of it that a track's sum would overflow are no session.
constexpr std::int64_t kMostFrames = std::int64_t{1} << 48;
constexpr std::size_t kMostParts = 10000;
// What cuts.tsv can say as well, and more than any file or recorder needs.
constexpr double kLargestRate_hz = 1e6;
constexpr double kLargestBound_us = 1e12;
constexpr double kLargestSpeed = 20.0;  // of a header eight times off, and more
constexpr int kMostChannels = 1'000'000;

// ---- writing

/// 48000 rather than 48000.0.
Json whole_where_it_can_be(double number) {
  if (number == std::floor(number) && std::abs(number) < 1e15)
    return static_cast<std::int64_t>(number);
  return number;
}

Json to_json(const Stretch& stretch) {
  return {{"line_from_s", stretch.line_from_s}, {"line_to_s", stretch.line_to_s}};
}

Json to_json(const Span& span) {
  return {{"from_s", span.from_s},
          {"to_s", span.to_s},
          {"line_from_s", span.line_from_s},
          {"line_to_s", span.line_to_s},
          {"uncertainty_us", span.uncertainty_us}};
}

/// A name that JSON cannot hold is told twice: for people, and byte by byte.
void add_file(Json& object, const std::string& file) {
  object["file"] = as_utf8(file);
  if (is_utf8(file)) return;
  std::string bytes;
  for (const char byte : file) bytes += fmt::format("{:02X}", static_cast<unsigned char>(byte));
  object["file_bytes"] = bytes;
}

Json to_json(const TrackPart& part) {
  Json object;
  add_file(object, part.file);
  object["channel"] = part.channel;
  object["frames"] = part.frames;
  return object;
}

std::string hex_text(std::uint64_t number) { return fmt::format("{:016x}", number); }

/// 0 where it is no number.
std::uint64_t from_hex(std::string_view text) {
  std::uint64_t number = 0;
  std::from_chars(text.data(), text.data() + text.size(), number, 16);
  return number;
}

Json to_json(const StemMark& stem) {
  return {{"file", stem.file}, {"digest", hex_text(stem.digest)}};
}

Json to_json(const Finding& finding);

template <typename Values>
Json list_of(const Values& values) {
  Json list = Json::array();
  for (const auto& value : values) list.push_back(to_json(value));
  return list;
}

template <typename Value>
void add_if(Json& object, const char* key, const std::optional<Value>& value) {
  if (value) object[key] = *value;
}

double total_s(const std::vector<Stretch>& stretches) {
  double sum_s = 0.0;
  for (const Stretch& stretch : stretches) sum_s += stretch.line_to_s - stretch.line_from_s;
  return sum_s;
}

Json to_json(const Finding& finding) {
  Json object;
  object["code"] = finding.code;
  add_if(object, "at_s", finding.at_s);
  add_if(object, "line_s", finding.line_s);
  add_if(object, "step_s", finding.step_s);
  add_if(object, "cause", finding.cause);
  if (finding.rate_hz) object["rate"] = whole_where_it_can_be(*finding.rate_hz);
  if (!finding.stretches.empty()) {
    object["stretches"] = list_of(finding.stretches);
    object["total_s"] = total_s(finding.stretches);
  }
  object["text"] = finding.text;
  return object;
}

Json to_json(const LineupTrack& track) {
  Json object;
  object["name"] = track.name;
  object["parts"] = list_of(track.parts);
  object["rate"] = whole_where_it_can_be(track.rate_hz);
  object["role"] = to_text(track.role);
  object["recorder"] = track.recorder;
  if (!track.voice.empty()) object["voice"] = track.voice;
  object["standing"] = to_text(track.standing);
  object["inverted"] = track.inverted;
  if (track.map) {
    object["start_s"] = track.map->start_s();
    object["drift_ppm"] = track.map->drift_ppm();
  }
  object["uncertainty_us"] = track.uncertainty_us;
  object["spans"] = track.map ? list_of(track.map->spans()) : Json::array();
  object["windows"] = {{"measured", track.windows_measured}, {"used", track.windows_used}};
  object["findings"] = list_of(track.findings);
  return object;
}

Json to_json(const LineupMix& mix) {
  Json object;
  add_file(object, mix.file);
  object["rate"] = whole_where_it_can_be(mix.rate_hz);
  object["frames"] = mix.frames;
  object["spans"] = list_of(mix.spans);
  object["findings"] = list_of(mix.findings);
  return object;
}

// ---- reading

template <typename Value>
std::optional<Value> one_of(JsonReader& reader, const Place& place, const char* key,
                            std::optional<Value> (*value_of)(const std::string&),
                            const char* choices) {
  const auto value = value_of(reader.text(place, key));
  if (!value) reader.fail(reader.member(place, key).path, std::string("must be ") + choices);
  return value;
}

double rate_from(JsonReader& reader, const Place& place) {
  return reader.number_within(place, "rate", 1.0, kLargestRate_hz);
}

double bound_from(JsonReader& reader, const Place& place) {
  if (!reader.has(place, "uncertainty_us")) return 0.0;
  return reader.number_within(place, "uncertainty_us", 0.0, kLargestBound_us);
}

std::vector<Place> list_or_none(JsonReader& reader, const Place& place, const char* key) {
  return reader.has(place, key) ? reader.list(place, key) : std::vector<Place>{};
}

int small_number(JsonReader& reader, const Place& place, const char* key, int least) {
  return static_cast<int>(reader.whole_number(place, key, least, std::numeric_limits<int>::max()));
}

std::int64_t frame_count(JsonReader& reader, const Place& place) {
  return reader.whole_number(place, "frames", 0, kMostFrames);
}

Finding finding_from(JsonReader& reader, const Place& place) {
  Finding finding;
  finding.code = reader.text(place, "code");
  finding.text = reader.text(place, "text");
  if (reader.has(place, "at_s")) finding.at_s = reader.number(place, "at_s");
  if (reader.has(place, "line_s")) finding.line_s = reader.number(place, "line_s");
  if (reader.has(place, "step_s")) finding.step_s = reader.number(place, "step_s");
  if (reader.has(place, "cause")) finding.cause = reader.text(place, "cause");
  if (reader.has(place, "rate")) finding.rate_hz = rate_from(reader, place);
  for (const Place& stretch : list_or_none(reader, place, "stretches"))
    finding.stretches.push_back(
        {reader.number(stretch, "line_from_s"), reader.number(stretch, "line_to_s")});
  return finding;
}

std::vector<Finding> findings_from(JsonReader& reader, const Place& place) {
  std::vector<Finding> findings;
  for (const Place& each : list_or_none(reader, place, "findings"))
    findings.push_back(finding_from(reader, each));
  return findings;
}

std::vector<Span> spans_from(JsonReader& reader, const Place& place) {
  std::vector<Span> spans;
  for (const Place& each : reader.list(place, "spans"))
    spans.push_back({reader.number(each, "from_s"), reader.number(each, "to_s"),
                     reader.number(each, "line_from_s"), reader.number(each, "line_to_s"),
                     bound_from(reader, each)});
  return spans;
}

/// The map of checked spans; nothing, with the reader's error set, where they make none.
std::optional<TimeMap> map_from(JsonReader& reader, const Place& place) {
  auto map = TimeMap::make(spans_from(reader, place));
  if (map) {
    for (const Span& span : map->spans())
      if (!(span.rate() >= 1.0 / kLargestSpeed && span.rate() <= kLargestSpeed))
        reader.fail(place.path + ".spans", "a span is played at a speed beyond 0.05 to 20");
    return *std::move(map);
  }
  reader.fail(place.path + ".spans", map.error().what);
  return std::nullopt;
}

/// A figure for people that was edited alone would have no effect: said rather than passed over.
void check_agreement(JsonReader& reader, const Place& place, const char* key, double in_spans,
                     double tolerance) {
  if (!reader.has(place, key)) return;
  if (std::abs(reader.number(place, key) - in_spans) > tolerance)
    reader.fail(place.path + '.' + key, "does not agree with the spans, which alone count");
}

std::string file_from(JsonReader& reader, const Place& place) {
  std::string file = reader.text(place, "file");
  if (!reader.has(place, "file_bytes")) return file;
  const std::string digits = reader.text(place, "file_bytes");
  std::string bytes;
  for (std::size_t i = 0; i + 1 < digits.size(); i += 2) {
    unsigned byte = 0;
    const auto read = std::from_chars(digits.data() + i, digits.data() + i + 2, byte, 16);
    if (read.ptr != digits.data() + i + 2) break;
    bytes += static_cast<char>(byte);
  }
  if (bytes.find('\0') != std::string::npos)
    reader.fail(place.path + ".file_bytes", "holds a zero byte");
  // The name may have been edited: then it is the name that was meant.
  if (2 * bytes.size() != digits.size())
    reader.fail(place.path + ".file_bytes", "must be pairs of hexadecimal digits");
  return as_utf8(bytes) == file ? bytes : file;
}

TrackPart part_from(JsonReader& reader, const Place& place) {
  return {file_from(reader, place),
          static_cast<int>(reader.whole_number(place, "channel", 1, kMostChannels)),
          frame_count(reader, place)};
}

void place_track(JsonReader& reader, const Place& place, LineupTrack& track) {
  track.uncertainty_us = bound_from(reader, place);
  if (track.standing == Standing::unplaced) return;
  track.map = map_from(reader, place);
  if (!track.map) return;
  check_agreement(reader, place, "start_s", track.map->start_s(), kStartTolerance_s);
  check_agreement(reader, place, "drift_ppm", track.map->drift_ppm(), kDriftTolerance_ppm);
}

LineupTrack track_from(JsonReader& reader, const Place& place) {
  LineupTrack track;
  track.name = reader.text(place, "name");
  for (const Place& part : reader.list(place, "parts"))
    track.parts.push_back(part_from(reader, part));
  if (track.parts.empty()) reader.fail(place.path + ".parts", "must name a file");
  if (track.parts.size() > kMostParts) reader.fail(place.path + ".parts", "names too many files");
  track.rate_hz = rate_from(reader, place);
  track.role = one_of(reader, place, "role", role_from_text, "room, remote, mix or ignore")
                   .value_or(Role::room);
  if (reader.has(place, "recorder")) track.recorder = reader.text(place, "recorder");
  if (reader.has(place, "voice")) track.voice = reader.text(place, "voice");
  track.standing = one_of(reader, place, "standing", standing_from_text, "firm, shaky or unplaced")
                       .value_or(Standing::unplaced);
  track.inverted = reader.truth(place, "inverted");
  place_track(reader, place, track);
  if (reader.has(place, "windows")) {
    const Place windows = reader.member(place, "windows");
    track.windows_measured = small_number(reader, windows, "measured", 0);
    track.windows_used = small_number(reader, windows, "used", 0);
  }
  track.findings = findings_from(reader, place);
  return track;
}

LineupMix mix_from(JsonReader& reader, const Place& place) {
  LineupMix mix;
  mix.file = file_from(reader, place);
  mix.rate_hz = rate_from(reader, place);
  mix.frames = frame_count(reader, place);
  mix.spans = spans_from(reader, place);
  if (auto map = TimeMap::make(mix.spans); !map)
    reader.fail(place.path + ".spans", map.error().what);
  mix.findings = findings_from(reader, place);
  return mix;
}

void check_kind(JsonReader& reader) {
  if (!reader.has(reader.root(), "kind") || reader.text(reader.root(), "kind") != kKind)
    reader.fail("kind", std::string("must be \"") + kKind + '"');
  if (small_number(reader, reader.root(), "version", 1) != kVersion)
    reader.fail("version", "is newer than this program, which reads version 1");
}

void read_timeline(JsonReader& reader, Lineup& lineup) {
  const Place timeline = reader.member(reader.root(), "timeline");
  lineup.timeline_clock = reader.text(timeline, "clock");
  lineup.timeline_rate_hz = rate_from(reader, timeline);
  lineup.from_s = reader.number(timeline, "from_s");
  lineup.to_s = reader.number(timeline, "to_s");
  if (!(lineup.from_s <= lineup.to_s)) reader.fail("timeline.to_s", "lies before from_s");
}

/// The session a file is named after, for lineups that do not say.
std::string session_of(const std::filesystem::path& file) {
  const std::filesystem::path name = file.stem();
  return name.extension() == ".lineup" ? name.stem().string() : name.string();
}

/// One whose digest is none is kept without: nothing then matches it.
StemMark stem_from(JsonReader& reader, const Place& place) {
  return {reader.text(place, "file"), from_hex(reader.text(place, "digest"))};
}

Lineup lineup_from(JsonReader& reader, const std::filesystem::path& file) {
  const Place root = reader.root();
  Lineup lineup;
  check_kind(reader);
  lineup.session = reader.has(root, "session") ? reader.text(root, "session") : session_of(file);
  read_timeline(reader, lineup);
  if (reader.has(root, "mix")) lineup.mix = mix_from(reader, reader.member(root, "mix"));
  for (const Place& track : reader.list(root, "tracks"))
    lineup.tracks.push_back(track_from(reader, track));
  lineup.findings = findings_from(reader, root);
  for (const Place& stem : list_or_none(reader, root, "stems"))
    lineup.stems.push_back(stem_from(reader, stem));
  if (reader.has(root, "cuts_hash")) lineup.cuts_hash = from_hex(reader.text(root, "cuts_hash"));
  return lineup;
}

std::size_t line_number(const std::string& text, std::size_t byte) {
  const auto end = text.begin() + static_cast<std::ptrdiff_t>(std::min(byte, text.size()));
  return 1 + static_cast<std::size_t>(std::count(text.begin(), end, '\n'));
}

/// Thrown and caught below only.
struct TooMuch {};

/// The document, unless it would take far more memory than any lineup does.
nlohmann::json bounded_json(const std::string& text) {
  constexpr int kDeepest = 32;
  constexpr std::int64_t kMostEvents = 4'000'000;
  std::int64_t events = 0;
  return nlohmann::json::parse(text, [&](int depth, nlohmann::json::parse_event_t, const auto&) {
    if (depth > kDeepest || ++events > kMostEvents) throw TooMuch{};
    return true;
  });
}

}  // namespace

std::string to_text(const Lineup& lineup) {
  Json object;
  object["kind"] = kKind;
  object["version"] = kVersion;
  object["session"] = lineup.session;
  object["timeline"] = {{"clock", lineup.timeline_clock},
                        {"rate", whole_where_it_can_be(lineup.timeline_rate_hz)},
                        {"from_s", lineup.from_s},
                        {"to_s", lineup.to_s}};
  if (lineup.mix) object["mix"] = to_json(*lineup.mix);
  object["tracks"] = Json::array();
  for (const LineupTrack& track : lineup.tracks) object["tracks"].push_back(to_json(track));
  object["findings"] = list_of(lineup.findings);
  if (!lineup.stems.empty()) object["stems"] = list_of(lineup.stems);
  if (lineup.cuts_hash) object["cuts_hash"] = hex_text(*lineup.cuts_hash);
  return to_readable_json(object);
}

Result<Lineup> lineup_from_text(const std::string& text, const std::filesystem::path& file) {
  nlohmann::json document;
  try {
    document = bounded_json(text);
  } catch (const nlohmann::json::parse_error& error) {
    return Error{ErrorKind::unreadable, file,
                 "is not JSON from line " + std::to_string(line_number(text, error.byte)) + " on",
                 "mend it by hand, or align the session again"};
  } catch (const nlohmann::json::out_of_range&) {
    return Error{ErrorKind::unreadable, file, "holds a number beyond all bounds",
                 "mend it by hand, or align the session again"};
  } catch (const TooMuch&) {
    return Error{ErrorKind::unreadable, file, "holds more values, or deeper ones, than any lineup",
                 "align the session again"};
  }
  JsonReader reader(std::move(document), file);
  Lineup lineup = lineup_from(reader, file);
  if (reader.error()) return *reader.error();
  return lineup;
}

Result<void> write_lineup(const Lineup& lineup, const std::filesystem::path& file) {
  return write_text(file, to_text(lineup));
}

Result<Lineup> read_lineup(const std::filesystem::path& file) {
  const auto text = read_text(file);
  if (!text) return text.error();
  return lineup_from_text(*text, file);
}

}  // namespace kilter::edits
