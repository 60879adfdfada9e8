#include "stem_notes.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <set>
#include <system_error>
#include <utility>
#include <vector>

#include "kilter/base/clock_text.h"
#include "kilter/base/text_hash.h"
#include "kilter/media/audio_file.h"
#include "kilter/media/file_ends.h"

namespace kilter::conform {
namespace {

// Below this no piece is missing between two spans: the clock wandered.
constexpr double kPiece_s = 0.0005;
constexpr std::int64_t kDay_s = 86400;
constexpr std::size_t kMostSources = 20;  // of coding history, which readers take up to 10 KB of

const char* mode_of(int channels) {
  return channels == 1 ? "mono" : channels == 2 ? "stereo" : "multitrack";
}

/// A line of coding history (EBU R 98) has no commas or line ends inside a field.
std::string as_field(std::string text) {
  for (char& each : text)
    if (each == ',' || each == '\n' || each == '\r') each = ' ';
  return text;
}

std::string coding_line(const std::string& coding, double rate_hz, int bits, int channels,
                        const std::string& text) {
  return fmt::format("A={},F={:.0f}{},M={},T={}\n", coding, rate_hz,
                     bits > 0 ? fmt::format(",W={}", bits) : "", mode_of(channels), as_field(text));
}

/// Every file of a stem once, in order, as far as it is there: what lies beyond the stems' time may
/// be missing.
std::vector<std::string> files_of(const StemPlan& stem, const std::filesystem::path& folder) {
  std::vector<std::string> files;
  std::set<std::string> known;
  std::error_code ignored;
  for (const LineupTrack* take : stem.channels.front())
    for (const TrackPart& part : take->parts)
      if (known.insert(part.file).second && std::filesystem::exists(folder / part.file, ignored))
        files.push_back(part.file);
  return files;
}

Result<std::string> source_lines(std::vector<std::string> files,
                                 const std::filesystem::path& folder) {
  std::string lines;
  if (files.size() > kMostSources) files.resize(kMostSources);
  for (const std::string& file : files) {
    const auto audio = media::open_audio(folder / file);
    if (!audio) return audio.error();
    const media::AudioInfo& info = audio->info;
    const std::string name = std::filesystem::path(file).filename().string();
    lines += coding_line(info.lossy ? "OTHER" : "PCM", info.rate.hz, info.bits, info.channels,
                         name + "; " + info.format);
  }
  return lines;
}

std::string place_in_words(const LineupTrack& track, const StemShape& shape) {
  const double start_s = track.map->start_s() - shape.from_s;
  const double true_hz = track.recorded_rate_hz();
  const double drift_ppm =
      ((1.0 + 1e-6 * track.map->drift_ppm()) * track.rate_hz / true_hz - 1.0) * 1e6;
  std::string words =
      fmt::format("starts {} s {} this stem", fmt::format("{:.6f}", std::abs(start_s)),
                  start_s < 0.0 ? "before" : "into");
  if (std::abs(drift_ppm) >= 0.005)
    words += fmt::format(", {:.2f} ppm {} taken out", std::abs(drift_ppm),
                         drift_ppm > 0.0 ? "fast" : "slow");
  if (true_hz != track.rate_hz)
    words +=
        fmt::format(", recorded at {:.0f} Hz under a header of {:.0f}", true_hz, track.rate_hz);
  if (const std::size_t pieces = track.map->spans().size(); pieces > 1)
    words += fmt::format(", {} spans", pieces);
  if (track.inverted) words += ", polarity turned";
  return words;
}

std::string part_in_words(const LineupTrack& track) {
  const TrackPart& first = track.parts.front();
  const std::size_t more = track.parts.size() - 1;
  return fmt::format(
      "{} channel {}{}", std::filesystem::path(first.file).filename().string(), first.channel,
      more == 0 ? "" : fmt::format(" and {} more file{}", more, more == 1 ? "" : "s"));
}

/// Where it comes from first, for some readers show 64 characters.
std::string description_of(const StemPlan& stem, const Lineup& lineup, const StemShape& shape) {
  const Takes& takes = stem.channels.front();
  if (takes.front()->role == Role::mix) {
    const bool is_whole = lineup.timeline_clock == "mix";
    return fmt::format("the mix: {}{}", std::filesystem::path(lineup.mix->file).filename().string(),
                       is_whole ? "" : ", on the clock of " + lineup.timeline_clock);
  }
  std::string text;
  for (const LineupTrack* take : takes) {
    if (take->parts.empty()) continue;
    text += (text.empty() ? "" : "; ") + part_in_words(*take) + ", " +
            place_in_words(*take, shape) +
            fmt::format(", {} to {}", to_text(take->standing),
                        short_time_text(1e-6 * take->uncertainty_us));
  }
  return text;
}

void add_cues(const LineupTrack& track, const StemShape& shape,
              std::vector<media::CueMarker>& cues) {
  const auto spans = track.map->spans();
  for (std::size_t i = 1; i < spans.size(); ++i) {
    const double lost_s = spans[i].line_from_s - spans[i - 1].line_to_s;
    const double cut_s = spans[i].from_s - spans[i - 1].to_s;
    std::string text;
    if (lost_s > kPiece_s) text = fmt::format("{:.3f} s lost", lost_s);
    if (cut_s > kPiece_s)
      text += fmt::format("{}{:.3f} s cut out", text.empty() ? "" : "; ", cut_s);
    const auto at = std::llround((spans[i - 1].line_to_s - shape.from_s) * shape.rate_hz);
    if (!text.empty() && at >= 0 && at < shape.frames) cues.push_back({{at}, text});
  }
}

/// The first that any of the files has.
Result<std::optional<media::StartStamp>> stamp_of(const std::vector<std::string>& files,
                                                  const std::filesystem::path& folder) {
  for (const std::string& file : files) {
    auto stamp = media::find_start_stamp(folder / file);
    if (!stamp || *stamp) return stamp;
  }
  return std::optional<media::StartStamp>();
}

/// A date as it should be, or nothing: some recorders write it in other ways.
std::string as_date(const std::string& text) {
  const std::string form = "0000-00-00";
  const bool is_one =
      std::equal(text.begin(), text.end(), form.begin(), form.end(), [](char letter, char as) {
        return as == '0' ? letter >= '0' && letter <= '9' : letter == as;
      });
  return is_one ? text : "";
}

/// An identity that tells stems apart and stays the same when the same stem is made again.
std::string reference_of(const std::string& session, const std::string& description) {
  return fmt::format("KILTER{:016X}", text_hash(session + '\n' + description));
}

}  // namespace

Result<media::BroadcastNotes> notes_of(const StemPlan& stem, const Lineup& lineup,
                                       const std::filesystem::path& session_folder,
                                       const StemShape& shape, const ConformOptions& options) {
  const std::vector<std::string> files = files_of(stem, session_folder);
  const auto sources = source_lines(files, session_folder);
  if (!sources) return sources.error();
  const auto found = stamp_of(files, session_folder);
  if (!found) return found.error();
  media::BroadcastNotes notes;
  notes.description = description_of(stem, lineup, shape);
  notes.originator = options.program;
  notes.originator_reference = reference_of(lineup.session, stem.file.string() + notes.description);
  if (const std::optional<media::StartStamp>& stamp = *found) {
    notes.origination_date = as_date(stamp->date);
    const auto second = static_cast<std::int64_t>(stamp->of_day_s()) % kDay_s;
    notes.origination_time =
        fmt::format("{:02}:{:02}:{:02}", second / 3600, second / 60 % 60, second % 60);
  }
  notes.time_reference = {edits::first_sample_of_frame(options.start_frame, options.frame_rate,
                                                       std::llround(shape.rate_hz))};
  const auto channels = static_cast<int>(stem.channels.size());
  notes.coding_history = *sources + coding_line("PCM", shape.rate_hz, bits_of(shape.format),
                                                channels, options.program);
  notes.project = lineup.session;
  notes.timecode_rate = {options.frame_rate.numerator(), options.frame_rate.denominator(),
                         options.frame_rate.drop_frame};
  for (const Takes& takes : stem.channels) {
    const LineupTrack& track = *takes.front();
    notes.track_names.push_back(track.voice.empty() ? track.name : track.voice);
  }
  for (const LineupTrack* take : stem.channels.front()) add_cues(*take, shape, notes.cues);
  return notes;
}

}  // namespace kilter::conform
