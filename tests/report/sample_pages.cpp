#include "sample_pages.h"

#include <cmath>
#include <cstdint>
#include <utility>

namespace kilter::test {
namespace {

/// 0..1, the same everywhere.
double chance(std::uint32_t& state) {
  state = state * 1664525U + 1013904223U;
  return static_cast<double>(state >> 8U) / 16777216.0;
}

/// Words and pauses.
Envelope talk(double length_s, std::uint32_t seed) {
  EnvelopeCollector collector;
  double level = 0.0;
  const auto stretches = static_cast<int>(length_s / 0.05);
  for (int i = 0; i < stretches; ++i) {
    if (i % 8 == 0) level = chance(seed) < 0.5 ? 0.0005 : 0.05 + 0.3 * chance(seed);
    const double peak = level * (0.6 + 0.4 * chance(seed));
    collector.add(static_cast<float>(peak), 0.08 * peak * peak);
  }
  return collector.envelope(0.05);
}

intake::Levels levels(double peak_dbfs) {
  intake::Levels result;
  result.peak_dbfs = peak_dbfs;
  result.rms_dbfs = peak_dbfs - 20.0;
  result.level_dbfs = peak_dbfs - 14.0;
  result.loudest_dbfs = peak_dbfs - 8.0;
  result.floor_dbfs = -72.0;
  result.talk_share = 0.31;
  return result;
}

/// Through the whole track, in spans of ten seconds whose drift wanders.
TimeMap wandering(double start_s, double drift_ppm, double length_s) {
  std::vector<Span> spans;
  double line_s = start_s;
  for (double at_s = 0.0; at_s < length_s; at_s += 10.0) {
    const double to_s = std::min(length_s, at_s + 10.0);
    const double ppm = drift_ppm + 1.5 * std::sin(at_s / 600.0);
    const double line_to_s = line_s + (to_s - at_s) / (1.0 + 1e-6 * ppm);
    spans.push_back({at_s, to_s, line_s, line_to_s, 12.0 + 4.0 * std::cos(at_s / 900.0)});
    line_s = line_to_s;
  }
  return *TimeMap::make(std::move(spans));
}

std::vector<report::MeasuredWindow> windows(double length_s, std::uint32_t seed) {
  std::vector<report::MeasuredWindow> result;
  for (double at_s = 5.0; at_s < length_s; at_s += 12.0) {
    const double sigma_us = 3.0 + 12.0 * chance(seed);
    const double offset_us = sigma_us * (chance(seed) + chance(seed) + chance(seed) - 1.5);
    const double lot = chance(seed);
    result.push_back({at_s, lot < 0.05 ? 4000.0 : offset_us, sigma_us,
                      lot < 0.05   ? 0.0
                      : lot < 0.15 ? 0.3
                                   : 0.95});
  }
  return result;
}

/// Pauses, and half a minute at the start where nobody had begun to record.
report::NullDepth null_depth(double length_s) {
  using Kind = report::NullCell::Kind;
  report::NullDepth null;
  null.typical_db = -23.4;
  std::uint32_t seed = 99;
  const auto cells = static_cast<int>(length_s / null.cell_s);
  Kind kind = Kind::told;
  for (int i = 0; i < cells; ++i) {
    if (i % 6 == 0) kind = chance(seed) < 0.2 ? Kind::pause : Kind::told;
    const auto rest_db = static_cast<float>(-27.0 + 8.0 * chance(seed));
    const auto mix_db = static_cast<float>(-40.0 + 20.0 * chance(seed));
    null.cells.push_back({i < 60 ? Kind::uncovered : kind, mix_db, rest_db});
  }
  return null;
}

void add_track(SamplePage& sample, const std::string& name, TimeMap map, double length_s) {
  const auto seed = static_cast<std::uint32_t>(sample.lineup.tracks.size() + 1);
  LineupTrack& track = sample.lineup.tracks.emplace_back();
  track.name = name;
  track.rate_hz = 48000.0;
  track.parts = {{name + ".wav", 1, static_cast<std::int64_t>(length_s * 48000.0)}};
  track.recorder = seed % 2 == 0 ? "A" : "B";
  track.role = seed % 2 == 0 ? Role::room : Role::remote;
  track.standing = Standing::firm;
  track.map = std::move(map);
  track.uncertainty_us = 16.0;
  report::HeardTrack& heard = sample.heard.tracks.emplace_back();
  heard.levels = levels(-6.0 - seed);
  heard.envelope = talk(length_s, 77 * seed);
  heard.windows = windows(length_s, seed);
  track.windows_measured = static_cast<int>(heard.windows.size());
  track.windows_used = track.windows_measured - 3;
  sample.stems.stems.push_back({name, name + ".wav", std::nullopt, 0, seed});
}

std::unique_ptr<SamplePage> empty_page(const std::string& session, double length_s) {
  auto sample = std::make_unique<SamplePage>();
  Lineup& lineup = sample->lineup;
  lineup.session = session;
  lineup.timeline_rate_hz = 48000.0;
  lineup.to_s = length_s;
  lineup.mix = LineupMix{"mixdown.flac",
                         48000.0,
                         static_cast<std::int64_t>(length_s * 48000.0),
                         {{0.0, length_s, 0.0, length_s, 0.0}},
                         {}};
  sample->heard.mix.envelope = talk(length_s, 5);
  sample->heard.mix.levels = levels(-3.0);
  sample->heard.null = null_depth(length_s);
  sample->stems.rate_hz = 48000.0;
  sample->stems.frames = lineup.mix->frames;
  sample->stems.mix = conform::Stem{"mixdown.flac", "mixdown.wav", std::nullopt, 0, 1};
  report::ReportPage& page = sample->page;
  page.lineup = &sample->lineup;
  page.heard = &sample->heard;
  page.stems = &sample->stems;
  page.sample_format = "24-bit";
  page.version = "kilter 0.0.0";
  page.command = "kilter conform " + session;
  return sample;
}

conform::Clip clip(std::size_t track, std::filesystem::path file, double at_s, std::string words) {
  return {track, std::move(file), std::move(words), at_s, at_s - 4.0, 8.0};
}

Finding finding(const char* code, std::string text) {
  Finding result;
  result.code = code;
  result.text = std::move(text);
  return result;
}

Finding at_line(Finding result, double line_s) {
  result.line_s = line_s;
  return result;
}

Finding over(Finding result, std::vector<Stretch> stretches) {
  result.stretches = std::move(stretches);
  return result;
}

/// Lost 1.7 s at track second 200, and again 40 ms at 350.
TimeMap torn(double length_s) {
  const double drift = 1.0 / (1.0 + 20e-6);
  return *TimeMap::make({{0.0, 200.0, 3.0, 3.0 + 200.0 * drift, 15.0},
                         {200.0, 350.0, 4.7 + 200.0 * drift, 4.7 + 350.0 * drift, 15.0},
                         {350.0, length_s, 4.74 + 350.0 * drift, 4.74 + length_s * drift, 15.0}});
}

void trouble_keeper(LineupTrack& track) {
  Finding seam =
      at_line(finding("seam", "At 00:03:23.000 the file lost 1.7 s. Listen there."), 203.0);
  seam.cause = "track";
  seam.step_s = 1.7;
  track.findings = {seam};
  seam.text = "At 00:05:54.740 the file lost 40 ms. Listen there.";
  seam.line_s = 354.7;
  track.findings.push_back(seam);
  for (const char* code : {"clipped", "low-level", "dc", "over", "truncated", "not-a-number",
                           "further-sound", "overlap", "two-clocks"})
    track.findings.push_back(finding(code, "What it is. What to do."));
  Finding dropout = finding("dropout", "Zeros at 00:01:40.000 for 0.4 s. Listen there.");
  dropout.at_s = 100.0;
  track.findings.push_back(dropout);
}

void trouble_guest(LineupTrack& track) {
  std::vector<Stretch> held;
  for (double at_s = 40.0; at_s < 560.0; at_s += 65.0) held.push_back({at_s, at_s + 6.0});
  track.inverted = true;
  track.voice = "harbour";
  Finding stream = at_line(finding("seam", "At 00:06:40.000 the stream slipped by 30 ms."), 400.0);
  stream.cause = "stream";
  track.findings = {over(finding("excursion", "Held back by 24 ms at the most, 8 times."), held),
                    over(finding("leak", "It also holds the keeper."), {{20.0, 120.0}}),
                    finding("inverted", "Its polarity is opposite to the mix's."), stream};
  Finding rate =
      finding("wrong-rate", "Its header states 44100 Hz, but it was recorded at 48000 Hz.");
  rate.rate_hz = 48000.0;
  track.findings.push_back(rate);
}

}  // namespace

const char* const kHostileNames[8] = {
    "<script>document.title='broken'</script>",
    "\"><img src=x onerror=\"document.title='broken'\">",
    "line\nend\r\tand\x01 control",
    "</script><script>document.title='broken'</script>",
    "'single' & &amp; <!-- --> ]]>",
    "\xE2\x80\xA8\xE2\x80\xA9 separators \xE2\x80\xAE reversed \xD7\xA9\xD7\x9C\xD7\x95\xD7\x9D",
    "\xF0\x9F\x97\xBC lighthouse \xEF\xBF\xBE \xC2\x85 ${x} {{x}} %s \\u003c \\",
    "broken \xFF\xC3 bytes"};

std::unique_ptr<SamplePage> calm_page(int tracks, double length_s) {
  auto sample = empty_page("lighthouse-hour", length_s);
  for (int i = 0; i < tracks; ++i)
    add_track(*sample, "keeper-" + std::to_string(i + 1),
              wandering(-3.0 * i, 20.0 - 11.0 * i, length_s), length_s);
  return sample;
}

std::unique_ptr<SamplePage> troubled_page() {
  constexpr double kLength_s = 600.0;
  auto sample = empty_page("lighthouse-hour-13", kLength_s);
  Lineup& lineup = sample->lineup;
  add_track(*sample, "keeper", torn(kLength_s - 10.0), kLength_s - 10.0);
  add_track(*sample, "harbour", wandering(-30.0, -53.0, 500.0), 500.0);
  add_track(*sample, "harbour-2", wandering(480.0, -53.0, 100.0), 100.0);
  add_track(*sample, "mate", wandering(0.0, 20.0, kLength_s), kLength_s);
  add_track(*sample, "cook", wandering(0.0, 20.0, kLength_s), kLength_s);
  add_track(*sample, "stranger", wandering(0.0, 0.0, kLength_s), kLength_s);
  add_track(*sample, "desk-mix", wandering(0.0, 0.0, kLength_s), kLength_s);
  add_track(*sample, "late", wandering(700.0, 0.0, 30.0), 30.0);
  add_track(*sample, "unread", wandering(0.0, 0.0, 30.0), 30.0);
  trouble_keeper(lineup.tracks[0]);
  trouble_guest(lineup.tracks[1]);
  lineup.tracks[2].voice = "harbour";
  lineup.tracks[2].findings = {finding("told-start", "The session file says 00:07:00.000."),
                               finding("start-stamp", "Its stamp contradicts its sound."),
                               finding("overruled", "Placed as told, 0.2 s later.")};
  lineup.tracks[3].standing = Standing::shaky;
  lineup.tracks[3].uncertainty_us = 2600.0;
  lineup.tracks[3].findings = {
      finding("thin-evidence", "Only 2 stretches are heard. Listen to it."),
      finding("sibling-placed", "Placed where \"keeper\" lies."),
      finding("silent", "Nothing but silence."), finding("dead", "Only noise.")};
  lineup.tracks[4].findings = {finding("duplicate", "The same sound as \"mate\", louder.")};
  sample->stems.stems[4].clipped_samples = 12;
  lineup.tracks[5].standing = Standing::unplaced;
  lineup.tracks[5].map.reset();
  lineup.tracks[5].findings = {finding("unmatched", "No place in the mix fits its sound."),
                               finding("too-short", "It lasts 0.4 s.")};
  sample->stems.stems[5].file.clear();
  lineup.tracks[6].role = Role::mix;
  lineup.tracks[6].findings = {finding("mix-copy", "The mix once more.")};
  sample->stems.stems[6].file.clear();
  lineup.tracks[8].standing = Standing::unplaced;
  lineup.tracks[8].map.reset();
  lineup.tracks[8].findings = {finding("unreadable", "Cannot be read: no format we know.")};
  sample->heard.tracks[8] = {};
  sample->stems.stems[8].file.clear();
  sample->stems.stems[4].file.clear();
  sample->stems.stems[4].failure = Error{ErrorKind::unreadable, "cook.wav",
                                         "it has changed meanwhile", "conform the session again"};
  lineup.mix->spans = {{0.0, 300.0, 0.0, 300.0, 0.0}, {300.0, 597.0, 303.0, 600.0, 0.0}};
  lineup.mix->findings = {at_line(finding("mix-seam", "At 00:05:00.000 the mix lost 3 s."), 300.0),
                          finding("lead-in", "It begins with its coder's lead-in."),
                          finding("sound-start", "Its sound begins beside its picture.")};
  for (const auto& [from, to] : {std::pair{120, 140}, {820, 850}})  // that voice
    for (int i = from; i < to; ++i)
      sample->heard.null.cells[static_cast<std::size_t>(i)] = {report::NullCell::Kind::told, -25.0F,
                                                               -2.0F};
  lineup.findings = {
      over(finding("missing-voice", "Nobody's track explains 25 s of talk."),
           {{60.0, 70.0}, {410.0, 425.0}}),
      over(finding("mix-music", "Music in the mix that no track holds."),
           {{0.0, 12.0}, {585.0, 600.0}}),
      finding("missing-part", "Between two files one is missing."),
      finding("left-out", "Not looked at: \"a.part\"."),
      finding("folder-left-out", "Not looked into: \"old\"."),
      finding("several-mixes", "The file with the mix's name leaves tracks unplaced.")};
  sample->stems.clips = conform::ListeningClips{
      {clip(0, "keeper_00h00m31s_start.wav", 31.0, "start"),
       clip(0, "keeper_00h03m23s_seam.wav", 203.0, "seam: a step of +1700 ms"),
       clip(0, "keeper_00h05m12s_worst-residual.wav", 312.0,
            "worst residual: measured 14 µs later than the stem has it; weakest evidence: "
            "the least sure window; placed to ±15 µs"),
       clip(3, "mate_00h00m20s_start.wav", 20.0, "start")},
      {{0, 2}}};
  return sample;
}

std::unique_ptr<SamplePage> hostile_page() {
  auto sample = calm_page(8, 120.0);
  Lineup& lineup = sample->lineup;
  for (std::size_t i = 0; i < 8; ++i) {
    const std::string name = kHostileNames[i];
    lineup.tracks[i].name = name;
    lineup.tracks[i].parts.front().file = name;
    lineup.tracks[i].recorder = name;
    lineup.tracks[i].voice = name;
    lineup.tracks[i].findings = {at_line(finding("seam", name), 60.0), finding(name.c_str(), name)};
    sample->stems.stems[i] = {name, name, std::nullopt, 1, i};
  }
  lineup.session = kHostileNames[0];
  lineup.mix->file = kHostileNames[3];
  lineup.findings = {over(finding("missing-voice", kHostileNames[1]), {{5.0, 9.0}})};
  sample->stems.mix->track = kHostileNames[3];
  sample->stems.clips.emplace();
  for (std::size_t i = 0; i < 8; ++i)
    sample->stems.clips->clips.push_back(clip(i, kHostileNames[i], 60.0, kHostileNames[7 - i]));
  sample->page.command = std::string("kilter conform '") + kHostileNames[3] + "'";
  return sample;
}

survey::Survey sample_survey() {
  survey::Survey survey;
  survey.session = "lighthouse-hour-14";
  const auto add_file = [&](const std::string& name, double length_s, int channels) {
    survey::SurveyFile& file = survey.files.emplace_back();
    file.name = name;
    file.info.format = "WAV 24-bit";
    file.info.rate = {48000.0};
    file.info.channels = channels;
    file.length = {static_cast<std::int64_t>(48000.0 * length_s)};
    file.parts = {{name, file.length}};
  };
  const auto add = [&](const std::string& name, int channel, std::vector<Finding> findings) {
    survey::SurveyTrack& track = survey.tracks.emplace_back();
    track.name = name;
    track.file = survey.files.size() - 1;
    track.channel = channel;
    track.findings = std::move(findings);
    if (survey.files.back().failure) return;
    track.levels = levels(-6.0);
    track.envelope = talk(survey.files.back().length_s(), 7 * static_cast<std::uint32_t>(channel));
  };
  add_file("mixdown.flac", 600.0, 2);
  survey::SurveyMix& mix = survey.mix.emplace();
  mix.found_by = "by its name";
  mix.levels = {levels(-3.0), levels(-4.0)};
  mix.envelope = talk(600.0, 5);
  add_file("desk.wav", 640.0, 2);
  survey.files.back().parts.push_back({"desk-2.wav", {100}});
  survey.files.back().stamp = media::StartStamp{std::int64_t{48000} * 3600 * 20, {48000.0}, ""};
  add("keeper", 1, {});
  Finding dropout = finding("dropout", "Zeros at 00:01:40.000 for 0.4 s. Listen there.");
  dropout.at_s = 100.0;
  add("mate", 2, {dropout, finding("low-level", "Very quiet. Turn it up.")});
  add_file("gone.m4a", 0.0, 0);
  survey.files.back().failure = Error{ErrorKind::unreadable, "gone.m4a", "no format we know", ""};
  add("gone", 1, {finding("unreadable", "Cannot be read: no format we know. Copy it again.")});
  add_file(std::string(kHostileNames[0]) + ".wav", 300.0, 1);
  add(kHostileNames[0], 1, {finding("duplicate", kHostileNames[1])});
  survey.findings = {finding("left-out", "Not looked at: \"a.part\".")};
  return survey;
}

}  // namespace kilter::test
